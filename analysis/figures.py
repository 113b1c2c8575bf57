"""Days, months and totals of the report, from the table of days."""

from calendar import monthrange
from collections import Counter
from collections.abc import Sequence

import numpy as np

from analysis.day_sums import sums_over
from analysis.days import DayTable, calendar_spans
from analysis.design.promise import promised_kwh
from analysis.energy import (
    Bands,
    delivered,
    delivered_each,
    expected,
    expected_each,
    padded,
)
from analysis.record import Floats, Ints, known_or_zero
from analysis.results import Bounded, DayFigure, MonthFigure, Totals
from analysis.site import Site
from analysis.sitefile import facts_of_spans

# A comparison with the promise needs this coverage; below, the promise is taken pro rata.
WHOLE_MONTH = 0.9
_Three = tuple[float | None, float | None, float | None]
_NOTHING: _Three = (None, None, None)
_MONTH = len("2025-06")
_DAYS_OF_MONTHS = [f"-{day:02}" for day in range(1, 32)]


def day_figures(table: DayTable, site: Site) -> tuple[DayFigure, ...]:
    """Give one figure per local day; `site` is as its file states it, changes on their days."""
    each = np.arange(len(table.days))[:, None]
    heat, healthy = delivered_each(table, each), expected_each(table, each, site)
    sun, pump, peak = (
        _known(table.column(name))
        for name in ("irradiation_kwh_m2", "pump_kwh", "peak_collector_c")
    )
    dates, coverage = table.days.dates, coverages(table).tolist()
    promises = _day_promises(dates, site)
    # In the order of the fields.
    columns = (dates, coverage, *_bounds(heat), sun, *_bounds(healthy), promises, pump, peak)
    return tuple(map(DayFigure._make, zip(*columns, strict=True)))


def coverages(table: DayTable) -> np.ndarray:
    """Give the share of each day that was logged and usable; a day without rows has 0."""
    return known_or_zero(table.column("known_s")) / table.days.length_s


def month_figures(table: DayTable, site: Site) -> tuple[MonthFigure, ...]:
    """Give one figure per local calendar month, changes of the site on their days."""
    figures = []
    months = calendar_spans(table.days.dates, _MONTH)
    each = padded([np.arange(first, after) for _, first, after in months])
    heat = zip(*_bounds(delivered_each(table, each)), strict=True)
    healthy = zip(*_bounds(expected_each(table, each, site)), strict=True)
    sun, pump = (
        known_sums(table.column(name), each) for name in ("irradiation_kwh_m2", "pump_kwh")
    )
    known = sums_over(each, [table.column("known_s"), table.days.length_s]).T.tolist()
    for (month, first, after), got, wanted, shone, pumped, (known_s, length_s) in zip(
        months, heat, healthy, sun, pump, known, strict=True
    ):
        # As a share of the whole month, of days as long as those that are there.
        coverage = min(known_s / (_days_of(month) * length_s / (after - first)), 1.0)
        promise = _month_promise(site, month)
        whole = coverage >= WHOLE_MONTH
        figures.append(
            MonthFigure(
                month=month,
                coverage=coverage,
                delivered_kwh=got[0],
                delivered_low_kwh=got[1],
                delivered_high_kwh=got[2],
                expected_kwh=wanted[0],
                expected_low_kwh=wanted[1],
                expected_high_kwh=wanted[2],
                design_kwh=promise if whole or promise is None else promise * coverage,
                irradiation_kwh_m2=shone,
                pump_kwh=pumped,
                design_pro_rata=promise is not None and not whole,
            )
        )
    return tuple(figures)


def total_figures(
    table: DayTable, site: Site, months: tuple[MonthFigure, ...], *, start_s: int, end_s: int
) -> Totals:
    """Give the figures of the whole span."""
    every = np.arange(len(table.days))
    got, wanted = _three(delivered(table, every)), _three(expected(table, every, site))
    promises = [month.design_kwh for month in months if month.design_kwh is not None]
    known = float(np.nansum(table.column("known_s")))
    return Totals(
        delivered_kwh=got[0],
        delivered_low_kwh=got[1],
        delivered_high_kwh=got[2],
        expected_kwh=wanted[0],
        expected_low_kwh=wanted[1],
        expected_high_kwh=wanted[2],
        design_kwh=sum(promises) if promises else None,
        pump_kwh=_sum(table.column("pump_kwh")),
        coverage=min(known / max(end_s - start_s, 1), 1.0),
    )


def _days_of(month: str) -> int:
    return monthrange(int(month[:4]), int(month[5:]))[1]


def _month_promise(site: Site, month: str) -> float | None:
    """Give what the month was promised; a promise that changed counts by its days."""
    length = _days_of(month)
    dates = [month + day for day in _DAYS_OF_MONTHS[:length]]
    promises: Counter[float | None] = Counter()
    for facts, days in facts_of_spans(site, dates):
        promises[_promise(facts, month)] += days
    if None in promises:
        return None
    return sum(promise * days / length for promise, days in promises.items() if promise is not None)


def _day_promises(dates: Sequence[str], site: Site) -> list[float | None]:
    """Give each day's share of what its month was promised; days of a month and its facts agree."""
    found: list[float | None] = []
    for facts, days in facts_of_spans(site, dates):
        own = dates[len(found) : len(found) + days]
        for month, first, after in calendar_spans(own, _MONTH):
            promise = _promise(facts, month)
            each = None if promise is None else promise / _days_of(month)
            found.extend([each] * (after - first))
    return found


def promises_of(facts: Site) -> tuple[float | None, ...]:
    """Give the design yield of each calendar month, None where there is none [kWh]."""
    return promised_kwh(facts) or (None,) * 12


def _promise(facts: Site, month: str) -> float | None:
    promised = promised_kwh(facts)
    return None if promised is None else promised[int(month[5:]) - 1]


def _three(bounded: Bounded | None) -> _Three:
    return _NOTHING if bounded is None else (bounded.value, bounded.low, bounded.high)


def _bounds(bands: Bands) -> tuple[list[float | None], ...]:
    """Give figures, their lower and their upper bounds, None where unknown."""
    return _known(bands.value), _known(bands.low), _known(bands.high)


def _known(values: Floats) -> list[float | None]:
    """Give figures one by one, None where unknown."""
    found: list[float | None] = values.tolist()
    for place in np.flatnonzero(~np.isfinite(values)).tolist():
        found[place] = None
    return found


def known_sums(values: Floats, each: Ints) -> list[float | None]:
    """Give sums over sets of days as in `padded`, None where none of the days is known."""
    total, known = sums_over(each, [values, np.isfinite(values)])
    return _known(np.where(known > 0.0, total, np.nan))


def _sum(values: np.ndarray) -> float | None:
    return float(np.nansum(values)) if np.isfinite(values).any() else None
