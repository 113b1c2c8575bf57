"""Days, months and totals of the report, from the table of days."""

from calendar import monthrange
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import groupby
from math import isfinite, isnan

import numpy as np

from analysis.day_sums import sums_over
from analysis.days import DayTable
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


def day_figures(table: DayTable, site: Site) -> tuple[DayFigure, ...]:
    """Give one figure per local day; `site` is as its file states it, changes on their days."""
    each = np.arange(len(table.days))[:, None]
    return tuple(
        DayFigure(
            date=day,
            coverage=coverage,
            delivered_kwh=got[0],
            delivered_low_kwh=got[1],
            delivered_high_kwh=got[2],
            irradiation_kwh_m2=irradiation,
            expected_kwh=wanted[0],
            expected_low_kwh=wanted[1],
            expected_high_kwh=wanted[2],
            design_kwh=promise,
            pump_kwh=pump,
            peak_collector_c=peak,
        )
        for day, coverage, got, wanted, irradiation, promise, pump, peak in zip(
            table.days.dates,
            coverages(table).tolist(),
            _threes(delivered_each(table, each)),
            _threes(expected_each(table, each, site)),
            _known(table.column("irradiation_kwh_m2")),
            _day_promises(table.days.dates, site),
            _known(table.column("pump_kwh")),
            _known(table.column("peak_collector_c")),
            strict=True,
        )
    )


def coverages(table: DayTable) -> np.ndarray:
    """Give the share of each day that was logged and usable; a day without rows has 0."""
    return known_or_zero(table.column("known_s")) / table.days.length_s


def month_figures(table: DayTable, site: Site) -> tuple[MonthFigure, ...]:
    """Give one figure per local calendar month, changes of the site on their days."""
    figures = []
    months = list(_months(table))
    each = padded([days for _, days in months])
    heat, healthy = _threes(delivered_each(table, each)), _threes(expected_each(table, each, site))
    sun, pump = (_sums(table.column(name), each) for name in ("irradiation_kwh_m2", "pump_kwh"))
    known = sums_over(each, [table.column("known_s"), table.days.length_s]).T.tolist()
    for (month, days), got, wanted, shone, pumped, (known_s, length_s) in zip(
        months, heat, healthy, sun, pump, known, strict=True
    ):
        # As a share of the whole month, of days as long as those that are there.
        coverage = min(known_s / (_days_of(month) * length_s / len(days)), 1.0)
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


def _months(table: DayTable) -> Iterator[tuple[str, Ints]]:
    first = 0
    for month, same in groupby(table.days.dates, key=_month_of):
        days = sum(1 for _ in same)
        yield month, np.arange(first, first + days)
        first += days


def _days_of(month: str) -> int:
    return monthrange(int(month[:4]), int(month[5:]))[1]


def _month_promise(site: Site, month: str) -> float | None:
    """Give what the month was promised; a promise that changed counts by its days."""
    length = _days_of(month)
    dates = [f"{month}-{day:02}" for day in range(1, length + 1)]
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
        for month, same in groupby(dates[len(found) : len(found) + days], key=_month_of):
            promise = _promise(facts, month)
            each = None if promise is None else promise / _days_of(month)
            found.extend(each for _ in same)
    return found


def _month_of(day: str) -> str:
    return day[:7]


def promises_of(facts: Site) -> tuple[float | None, ...]:
    """Give the design yield of each calendar month, None where there is none [kWh]."""
    return tuple(_promise(facts, f"2001-{month:02}") for month in range(1, 13))


def _promise(facts: Site, month: str) -> float | None:
    promised = promised_kwh(facts)
    return None if promised is None else promised[int(month[5:]) - 1]


def _three(bounded: Bounded | None) -> _Three:
    return _NOTHING if bounded is None else (bounded.value, bounded.low, bounded.high)


def _threes(bands: Bands) -> list[_Three]:
    """Give figures and bounds one by one."""
    parts = (bands.value.tolist(), bands.low.tolist(), bands.high.tolist())
    return [_NOTHING if isnan(one[0]) else one for one in zip(*parts, strict=True)]


def _known(values: Floats) -> list[float | None]:
    """Give figures one by one, None where unknown."""
    return [one if isfinite(one) else None for one in values.tolist()]


def _sums(values: Floats, each: Ints) -> list[float | None]:
    """Give sums over sets of days as in `padded`, None where none of the days is known."""
    total, known = sums_over(each, [values, np.isfinite(values)]).tolist()
    return [one if some else None for one, some in zip(total, known, strict=True)]


def _sum(values: np.ndarray) -> float | None:
    return float(np.nansum(values)) if np.isfinite(values).any() else None
