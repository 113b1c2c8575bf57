"""Actual against design: as it stands, and corrected for the sun that the year really had."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.day_sums import sums_over
from analysis.days import DayTable, calendar_spans
from analysis.design.promise import METHOD, Computed, computed_of
from analysis.design.result import DesignYield
from analysis.design.system import DAYS, MONTHS
from analysis.energy import delivered, padded, sun_u_frac
from analysis.record import Floats, Ints
from analysis.results import Bounded, MonthFigure
from analysis.site import Site
from analysis.sitefile import facts_of_spans
from analysis.uncertainty import COVERAGE_95

WHOLE = 0.9
"""A month counts from this share of its time, and of its daylight for the correction, on [-]."""

LATEST_MONTHS = 12

# Standard uncertainties. The method against hourly simulation of the same system stays within
# 15 % over a year (measured, `tests.bench.design`); the typical sun of a region or of a file counts
# only where the correction needs it (engineering judgement).
METHOD_FRAC = 0.15 / COVERAGE_95
COARSE_FRAC, CLIMATE_FRAC = 0.05, 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class _Month:
    """A month to compare: heat of `days`, and the promise for the time that was logged.

    `computed` is the yield that its facts give.
    """

    name: str
    days: Ints
    promise_kwh: float
    computed: Computed | None

    @property
    def place(self) -> int:
        """Its place in the year, January 0."""
        return int(self.name[5:]) - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sun:
    """The months whose sun is known; heat that the method gives for typical and actual sun."""

    months: tuple[_Month, ...]
    ratio: float
    typical_kwh: float
    actual_kwh: float
    u_frac: float


def compared(
    design: DesignYield, table: DayTable, site: Site, months: Sequence[MonthFigure]
) -> DesignYield:
    """Hold the latest twelve months that are in the log against their promise.

    Parameters
    ----------
    design : the promise
    table : every day
    site : the site as its file states it; each month has the facts of its first day
    months : figures of the same days, with the promise of each
    """
    whole = _whole(table, site, months)
    if not whole:
        return design
    raw = _ratio(table, whole, promise=1.0, fracs=(_method_frac(design),))
    found = replace(
        design,
        compared_from=whole[0].name,
        compared_to=whole[-1].name,
        compared_months=len(whole),
        **_named("raw_ratio", raw),
    )
    sun = _sun(table, site, whole)
    if sun is None or sun.typical_kwh <= 0.0 or sun.actual_kwh <= 0.0:
        return found
    correction = sun.actual_kwh / sun.typical_kwh
    usual_kwh = sum(month.promise_kwh for month in sun.months)
    corrected = _ratio(
        table,
        sun.months,
        promise=correction,
        fracs=(_method_frac(design), sun.u_frac, _climate_frac(design, sun.months[-1].computed)),
    )
    return replace(
        found,
        corrected_months=len(sun.months),
        sun_ratio=sun.ratio,
        usual_promise_kwh=usual_kwh,
        corrected_promise_kwh=usual_kwh * correction,
        **_named("weather_corrected_ratio", corrected),
    )


def _named(name: str, ratio: Bounded | None) -> dict[str, Any]:
    if ratio is None:
        return {}
    return {name: ratio.value, f"{name}_low": ratio.low, f"{name}_high": ratio.high}


def _whole(table: DayTable, site: Site, months: Sequence[MonthFigure]) -> tuple[_Month, ...]:
    days = {
        name: np.arange(first, after)
        for name, first, after in calendar_spans(table.days.dates, len("2025-06"))
    }
    each: list[Computed | None] = []
    for facts, count in facts_of_spans(site, [f"{month.month}-01" for month in months]):
        each += [computed_of(facts)] * count
    found = [
        _Month(
            name=month.month,
            days=days[month.month],
            promise_kwh=month.design_kwh * month.coverage,
            computed=computed,
        )
        for month, computed in zip(months, each, strict=True)
        if month.coverage >= WHOLE
        and month.design_kwh is not None
        and month.delivered_kwh is not None
    ]
    if not found:
        return ()
    latest = _count(found[-1].name)
    return tuple(month for month in found if _count(month.name) > latest - LATEST_MONTHS)


def _count(month: str) -> int:
    return int(month[:4]) * MONTHS + int(month[5:])


def _ratio(
    table: DayTable, months: Sequence[_Month], *, promise: float, fracs: Sequence[float]
) -> Bounded | None:
    """Give delivered over promised, the promise times a factor; None without either."""
    got = delivered(table, np.concatenate([month.days for month in months]))
    wanted = promise * sum(month.promise_kwh for month in months)
    if got is None or wanted <= 0.0:
        return None
    value = got.value / wanted
    rest = COVERAGE_95 * float(np.sqrt(sum(frac**2 for frac in fracs))) * value
    reach = float(np.hypot((got.high - got.low) / 2.0 / wanted, rest))
    return Bounded(value=value, low=max(value - reach, 0.0), high=value + reach)


def _sun(table: DayTable, site: Site, whole: Sequence[_Month]) -> _Sun | None:
    """Work the months' heat out again under the sun they had."""
    irradiation = table.column("irradiation_kwh_m2")
    known, shone_kwh_m2 = sums_over(
        padded([month.days for month in whole]), [np.isfinite(irradiation), irradiation]
    ).tolist()
    kept: list[_Month] = []
    sums: list[tuple[float, float, float]] = []
    asked: dict[int, tuple[Computed, Floats]] = {}
    for month, told, sun in zip(whole, known, shone_kwh_m2, strict=True):
        computed = month.computed
        if computed is None or told / len(month.days) < WHOLE:
            continue
        actual = sun / told * float(DAYS[month.place])
        typical = computed.first_plane_kwh_m2[month.place]
        if typical <= 0.0:
            continue
        kept.append(month)
        sums.append((actual, typical, computed.monthly_kwh[month.place]))
        # Each month stands by itself: those of the same facts are worked out at once.
        _, ratio = asked.setdefault(id(computed), (computed, np.zeros(MONTHS)))
        ratio[month.place] = actual / typical
    if not kept:
        return None
    actual, typical, plain = np.sum(np.array(sums), axis=0).tolist()
    shone, steeper = np.sum(
        [one.under(_TIMES * ratio)[:, ratio > 0.0].sum(axis=1) for one, ratio in asked.values()],
        axis=0,
    ).tolist()
    days = np.concatenate([month.days for month in kept])
    slope = 0.0 if shone <= 0.0 else (steeper / shone - 1.0) / _STEP
    return _Sun(
        months=tuple(kept),
        ratio=actual / typical,
        typical_kwh=plain,
        actual_kwh=shone,
        u_frac=slope * float(sun_u_frac(table, site)[days].mean()),
    )


# The sun that there was, and a little more of it.
_STEP = 0.01
_TIMES = np.array([[1.0], [1.0 + _STEP]])


def _method_frac(design: DesignYield) -> float:
    return METHOD_FRAC if design.method == METHOD else 0.0


def _climate_frac(design: DesignYield, computed: Computed | None) -> float:
    """Give what the typical sun is uncertain by; a computed promise and it cancel each other."""
    if design.method == METHOD or computed is None:
        return 0.0
    return COARSE_FRAC if computed.climate.coarse else CLIMATE_FRAC
