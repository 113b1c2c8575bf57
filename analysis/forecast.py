"""The year in progress: what the plant gave so far, and where the year is heading.

The rest of the year is taken as the design yield of its days, times the share of its design yield
that the plant reached over the latest twelve months. What the weather may do to the months ahead,
and how well that share is known, widen the bounds; what is wrong with the sensors is wrong with
both halves of the year, so the bounds of the two add linearly.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from analysis.days import DayTable
from analysis.results import Bounded, DayFigure, Savings, YearFigures, YearInProgress
from analysis.savings import Rates, rates_on
from analysis.site import Site
from analysis.sitefile import facts_of_days
from analysis.uncertainty import COVERAGE_95

# Spread of one month's yield about its long-term mean, from year to year, and what stays common to
# the months ahead (common practice, no source: months of sun scatter by 10 to 20 %).
MONTH_FRAC = 0.15
SHARE_FRAC = 0.08
# A share known from less than this many days is drawn towards 1, which the design promises.
_WELL_KNOWN_DAYS = 60.0
_SHARE_PRIOR_FRAC = 0.3
_LOGGED = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rest:
    """Heat of the days ahead and its standard uncertainty [kWh]."""

    kwh: float
    u_kwh: float
    words: str


def year_in_progress(
    table: DayTable,
    site: Site,
    days: Sequence[DayFigure],
    *,
    so_far: YearFigures,
    promised_kwh: Sequence[float | None],
) -> YearInProgress | None:
    """Give the year of the last day, so far and by its end.

    Parameters
    ----------
    table : every observed day
    site : the site as its file states it
    days : figures of the same days, with the design yield of each
    so_far : figures of the year of the last day, as `year_figures` gives them
    promised_kwh : shape (12,), the design yield of each calendar month, None where not known

    Returns
    -------
    YearInProgress, or None where no heat is known this year or no design yield for the rest
    """
    last = date.fromisoformat(table.days.dates[-1])
    got, saved = so_far.delivered, so_far.savings
    rest = _rest(days, promised_kwh, last)
    if got is None or rest is None:
        return None
    ahead = _spread(rest.kwh, rest.u_kwh)
    first = bisect_left(table.days.dates, so_far.first)
    pump_kwh = float(np.nansum(table.column("pump_kwh")[first:]))
    backup = facts_of_days(site, [last.isoformat()])[0].backup
    rates = None if backup is None else rates_on(backup, last)
    money, co2 = _rest_worth(saved, rates, got.value, pump_kwh, rest)
    return YearInProgress(
        year=last.year,
        until=last.isoformat(),
        delivered_kwh=got,
        by_end_delivered_kwh=_sum(got, ahead),
        money_net=_money(saved),
        by_end_money_net=_with(_money(saved), money),
        currency=None if saved is None else saved.currency,
        co2_kg=_co2(saved),
        by_end_co2_kg=_with(_co2(saved), co2),
        rests_on=rest.words,
    )


def _rest(
    days: Sequence[DayFigure], promised_kwh: Sequence[float | None], last: date
) -> _Rest | None:
    """Give the heat of the days from the day after `last` to the end of its year."""
    share, u_share, known_days = _share(days)
    months: list[float] = []
    ahead = last + timedelta(days=1)
    while ahead.year == last.year:
        promise = promised_kwh[ahead.month - 1]
        if promise is None:
            return None
        after = _next_month(ahead)
        months.append(promise * (after - ahead).days / (after - ahead.replace(day=1)).days)
        ahead = after
    each = share * np.array(months)
    total = float(each.sum())
    weather = MONTH_FRAC * float(np.sqrt(np.square(each).sum()))
    words = f"design yield of the months ahead times {share:.2f}, the plant's own share of it"
    if known_days < _WELL_KNOWN_DAYS:
        words = f"design yield of the months ahead; only {known_days:.0f} days to judge by"
    return _Rest(kwh=total, u_kwh=float(np.hypot(weather, u_share * total)), words=words)


def _share(days: Sequence[DayFigure]) -> tuple[float, float, float]:
    """Give delivered over design of the latest year, its relative uncertainty, and days behind it.

    A share drawn from few days is drawn towards 1.
    """
    pairs = [
        (item.delivered_kwh, item.design_kwh)
        for item in days[-365:]
        if item.delivered_kwh is not None
        and item.design_kwh is not None
        and item.coverage >= _LOGGED
    ]
    design = sum(promise for _, promise in pairs)
    if design <= 0.0:
        return 1.0, _SHARE_PRIOR_FRAC, 0.0
    own = sum(got for got, _ in pairs) / design
    weight = len(pairs) / (len(pairs) + _WELL_KNOWN_DAYS / 2.0)
    share = max(weight * own + (1.0 - weight), 0.0)
    u_frac = float(np.hypot(SHARE_FRAC, (1.0 - weight) * _SHARE_PRIOR_FRAC))
    return share, u_frac, float(len(pairs))


def _rest_worth(
    saved: Savings | None, rates: Rates | None, heat_kwh: float, pump_kwh: float, rest: _Rest
) -> tuple[Bounded | None, Bounded | None]:
    """Give money and CO2 of the days ahead, at the prices of the last day.

    Fuel and pump go with the heat as they did this year so far.
    """
    if saved is None or rates is None or heat_kwh <= 0.0:
        return None, None
    fuel, pump = saved.fuel_kwh / heat_kwh, pump_kwh / heat_kwh
    return (
        _worth(fuel, rates.price, pump, rates.electricity_price, rest, _efficiency_frac(saved)),
        _worth(fuel, rates.co2_kg, pump, rates.electricity_co2_kg, rest, _efficiency_frac(saved)),
    )


def _worth(
    fuel: float,
    fuel_rate: float | None,
    pump: float,
    pump_rate: float | None,
    rest: _Rest,
    efficiency_frac: float,
) -> Bounded | None:
    if fuel_rate is None or pump_rate is None:
        return None
    per_kwh = fuel * fuel_rate - pump * pump_rate
    u = np.hypot(rest.u_kwh * per_kwh, efficiency_frac * rest.kwh * fuel * fuel_rate)
    return _spread(rest.kwh * per_kwh, float(u))


def _efficiency_frac(saved: Savings) -> float:
    """Give the spread of the backup's efficiency as a standard uncertainty [-]."""
    low, high = saved.efficiency_low, saved.efficiency_high
    if low is None or high is None:
        return 0.0
    return (high - low) / (high + low) / COVERAGE_95


def _money(saved: Savings | None) -> Bounded | None:
    if saved is None or saved.money_net is None:
        return None
    assert saved.money_net_low is not None
    assert saved.money_net_high is not None
    return Bounded(value=saved.money_net, low=saved.money_net_low, high=saved.money_net_high)


def _co2(saved: Savings | None) -> Bounded | None:
    if saved is None or saved.co2_kg is None:
        return None
    assert saved.co2_low_kg is not None
    assert saved.co2_high_kg is not None
    return Bounded(value=saved.co2_kg, low=saved.co2_low_kg, high=saved.co2_high_kg)


def _spread(value: float, u: float) -> Bounded:
    reach = COVERAGE_95 * u
    return Bounded(value=value, low=value - reach, high=value + reach)


def _sum(one: Bounded, other: Bounded) -> Bounded:
    return Bounded(
        value=one.value + other.value, low=one.low + other.low, high=one.high + other.high
    )


def _with(one: Bounded | None, other: Bounded | None) -> Bounded | None:
    return None if one is None or other is None else _sum(one, other)


def _next_month(day: date) -> date:
    return (day.replace(day=1) + timedelta(days=32)).replace(day=1)
