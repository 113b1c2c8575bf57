"""What the sun saved: useful heat, fuel, money and CO2, after the pump.

Useful heat is delivered heat less the extra loss of a store that the sun keeps warmer than the
backup would. Prices are those of the day. Where the site file is silent about CO2, published
factors are used.
"""

from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import TypeVar

import numpy as np

from analysis.days import DayTable
from analysis.energy import delivered
from analysis.record import Floats, known_or_zero
from analysis.results import Bounded, Savings
from analysis.site import Backup, Site, Store
from analysis.sitefile import facts_of_spans
from analysis.sources import Source
from analysis.uncertainty import COVERAGE_95

Facts = TypeVar("Facts")

SAP_10_2 = Source("SAP 10.2, Table 12: fuel factors", "text of 14-03-2025; others from memory")
STORE_LABEL = Source("Regulation (EU) 812/2013, Annex II: standing loss, class C")
SOURCES = (SAP_10_2, STORE_LABEL)

# kg CO2 for each kWh of fuel energy. Mains gas and electricity read in the published table, the
# rest from memory.
CO2_KG_PER_KWH: dict[str, float | None] = {
    "mains_gas": 0.210,
    "lpg": 0.241,
    "heating_oil": 0.298,
    "electricity": 0.136,
    "heat_pump": 0.136,
    "wood_pellets": 0.053,
    "other": None,
}
# The marginal efficiency in summer is rarely the one on the label: standard uncertainty
# (common practice, no source).
EFFICIENCY_FRAC = 0.04
EXTRA_LOSS_FRAC = 0.5


def savings_of(
    table: DayTable, site: Site, *, first: int = 0, last: int | None = None
) -> Savings | None:
    """Give what was saved over days of the table; None without backup facts or heat.

    Parameters
    ----------
    table : the days
    site : the site as its file states it; changes and tariffs hold for their own days
    first, last : days `first` to `last` (excluded) count; None: to the end
    """
    days = slice(first, last)
    dates = table.days.dates[days]
    heat_kwh, pump_kwh, excess_kh = (
        table.column(name)[days] for name in ("heat_kwh", "pump_kwh", "store_excess_kh")
    )
    heat = delivered(table, np.arange(first, first + len(dates)))
    facts = facts_of_spans(site, dates)
    spans = [(one.backup, days) for one, days in facts if one.backup is not None]
    if len(spans) < len(facts) or heat is None:
        return None
    # Unknown where the day's heat is: a loss without the heat that caused it is no saving's loss.
    extra = np.where(np.isfinite(heat_kwh), _extra_loss_kwh(excess_kh, facts), np.nan)
    extra_kwh = float(np.nansum(extra))
    useful = Bounded(
        value=max(heat.value - extra_kwh, 0.0), low=heat.low - extra_kwh, high=heat.high - extra_kwh
    )
    daily = known_or_zero(heat_kwh) - known_or_zero(extra)
    daily_fuel = daily / _each_day(spans, lambda backup: backup.efficiency)
    each = [backup for backup, _ in spans]
    ranges = [efficiency_range(backup) for backup in each]
    fuel = _fuel(useful, extra_kwh, daily, daily_fuel, _efficiency_frac(each))
    pump = known_or_zero(pump_kwh)
    price = _prices(dates, spans, "price_per_kwh")
    pump_price = _prices(dates, spans, "electricity_price_per_kwh")
    if len({backup.currency for backup in each}) > 1:
        price = pump_price = None  # amounts in two currencies have no sum
    money = _worth(daily_fuel, fuel, price)
    pump_cost = None if pump_price is None else float((pump * pump_price).sum())
    co2_known = all(_fuel_co2(backup) is not None for backup in each)
    co2 = _worth(daily_fuel, fuel, _each_day(spans, _fuel_co2) if co2_known else None)
    pump_co2 = float((pump * _each_day(spans, _electricity_co2)).sum())
    return Savings(
        useful_kwh=useful.value,
        fuel_kwh=fuel.value,
        fuel_low_kwh=fuel.low,
        fuel_high_kwh=fuel.high,
        money=None if money is None else money.value,
        pump_cost=pump_cost,
        money_net=None if money is None else _less(money.value, pump_cost),
        money_net_low=None if money is None else _less(money.low, pump_cost),
        money_net_high=None if money is None else _less(money.high, pump_cost),
        currency=each[-1].currency,
        co2_kg=None if co2 is None else co2.value - pump_co2,
        co2_low_kg=None if co2 is None else co2.low - pump_co2,
        co2_high_kg=None if co2 is None else co2.high - pump_co2,
        efficiency_low=min(low for low, _ in ranges),
        efficiency_high=max(high for _, high in ranges),
        co2_source=_co2_source(each),
    )


def _each_day(
    spans: Sequence[tuple[Facts, int]], figure: Callable[[Facts], float | None]
) -> Floats:
    """Give a figure of facts on each of the days for which they hold; None as NaN."""
    figures = np.array([figure(facts) for facts, _ in spans], dtype=np.float64)
    return np.repeat(figures, [days for _, days in spans])


def _extra_loss_kwh(excess_kh: Floats, facts: Sequence[tuple[Site, int]]) -> Floats:
    """Give each day's extra loss of a store kept warmer by the sun [kWh]."""
    return excess_kh * _each_day(facts, lambda one: store_loss_w_k(one.store)) / 1000.0


def store_loss_w_k(store: Store) -> float:
    """Give what the store loses for each kelvin over its room [W/K]: as stated, else class C."""
    if store.heat_loss_w_k is not None:
        return store.heat_loss_w_k
    # Regulation (EU) 812/2013: class C limit at 45 K over the room.
    return float((16.66 + 8.33 * store.volume_l**0.4) / 45.0)


def efficiency_range(backup: Backup) -> tuple[float, float]:
    """Give the 95 % range of the backup's efficiency: the stated one, else about the stated value.

    A boiler that heats only water in summer runs worse than its label says; the range carries it.
    """
    if backup.efficiency_low is not None and backup.efficiency_high is not None:
        return backup.efficiency_low, backup.efficiency_high
    reach = COVERAGE_95 * EFFICIENCY_FRAC * backup.efficiency
    return backup.efficiency - reach, backup.efficiency + reach


def _efficiency_frac(backups: Sequence[Backup]) -> float:
    """Give the standard uncertainty of the efficiency, as a share of it; the widest of all days."""
    spans = [
        (high - low) / 2.0 / COVERAGE_95 / backup.efficiency
        for backup in backups
        for low, high in (efficiency_range(backup),)
    ]
    return max(spans)


# What is said of where the factors come from; a sheet has each in its language.
CO2_SOURCES = (
    "factors of the site file",
    "site file and SAP 10.2 Table 12, edition of March 2025",
    "SAP 10.2 Table 12, edition of March 2025",
)


def _co2_source(backups: Sequence[Backup]) -> str:
    """Say where the CO2 factors come from."""
    told = all(
        backup.co2_kg_per_kwh is not None and backup.electricity_co2_kg_per_kwh is not None
        for backup in backups
    )
    some = any(
        backup.co2_kg_per_kwh is not None or backup.electricity_co2_kg_per_kwh is not None
        for backup in backups
    )
    return CO2_SOURCES[0 if told else 1 if some else 2]


def _fuel(
    useful: Bounded, extra_kwh: float, daily: Floats, daily_fuel: Floats, efficiency_frac: float
) -> Bounded:
    """Give the fuel that the useful heat stands for, at the efficiency of each day."""
    size = float(np.abs(daily).sum())
    per_heat = float(np.abs(daily_fuel).sum()) / size if size > 0.0 else 0.0
    value = max(float(daily_fuel.sum()), 0.0)
    u_heat = (useful.high - useful.low) / 2.0 / COVERAGE_95
    u_useful = float(np.hypot(u_heat, EXTRA_LOSS_FRAC * extra_kwh))
    reach = COVERAGE_95 * float(np.hypot(u_useful * per_heat, efficiency_frac * value))
    return Bounded(value=value, low=max(value - reach, 0.0), high=value + reach)


def _worth(daily_fuel: Floats, fuel: Bounded, rate: Floats | None) -> Bounded | None:
    """Give what fuel is worth in money or CO2 at each day's rate; None where one is unknown."""
    if rate is None:
        return None
    if fuel.value <= 0.0:
        return Bounded(value=0.0, low=0.0, high=fuel.high * float(rate.mean()))
    value = max(float((daily_fuel * rate).sum()), 0.0)
    per_kwh = value / fuel.value
    return Bounded(value=value, low=fuel.low * per_kwh, high=fuel.high * per_kwh)


def _prices(dates: Sequence[str], spans: Sequence[tuple[Backup, int]], key: str) -> Floats | None:
    """Give the price of each day, None where one is unknown."""
    prices: list[tuple[float | None, int]] = []
    done = 0
    for backup, days in spans:
        own = dates[done : done + days]
        done += days
        # Days between two tariffs have one price.
        begins = {bisect_left(own, tariff.start.isoformat()) for tariff in backup.tariffs}
        for first, after in pairwise(sorted({0, *begins, days})):
            price = _price(backup, key, date.fromisoformat(own[first]))
            prices.append((price, after - first))
    each = _each_day(prices, lambda price: price)
    return None if np.isnan(each).any() else each


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """What a kilowatt-hour of fuel and of electricity costs and emits on a day; None unknown."""

    price: float | None
    electricity_price: float | None
    co2_kg: float | None
    electricity_co2_kg: float


def rates_on(backup: Backup, day: date) -> Rates:
    """Give the rates of a day."""
    return Rates(
        price=_price(backup, "price_per_kwh", day),
        electricity_price=_price(backup, "electricity_price_per_kwh", day),
        co2_kg=_fuel_co2(backup),
        electricity_co2_kg=_electricity_co2(backup),
    )


def _price(backup: Backup, key: str, day: date) -> float | None:
    price: float | None = getattr(backup, key)
    if price is None and key == "electricity_price_per_kwh":
        price = backup.price_per_kwh if backup.fuel in ("electricity", "heat_pump") else None
    for tariff in sorted(backup.tariffs, key=lambda item: item.start):
        told: float | None = getattr(tariff, key)
        if told is not None and tariff.start <= day:
            price = told
    return price


def _fuel_co2(backup: Backup) -> float | None:
    told = backup.co2_kg_per_kwh
    return CO2_KG_PER_KWH[backup.fuel] if told is None else told


def _electricity_co2(backup: Backup) -> float:
    if backup.electricity_co2_kg_per_kwh is not None:
        return backup.electricity_co2_kg_per_kwh
    factor = CO2_KG_PER_KWH["electricity"]
    assert factor is not None
    return factor


def _less(value: float, cost: float | None) -> float | None:
    """Give money after the pump; an unknown price of electricity leaves it unknown."""
    return None if cost is None else value - cost
