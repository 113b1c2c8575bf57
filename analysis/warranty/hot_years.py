"""What the loop stood, by calendar year: hours above temperatures that age fluid and parts."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from analysis.days import DayTable
from analysis.figures import coverages
from analysis.record import Bools, Floats

# The levels that each day counts (`analysis.faults.fluid_stress`).
LEVELS_C = (120, 150, 170)
_STANDING = "stagnation"


@dataclass(frozen=True, slots=True, kw_only=True)
class HotYear:
    """One calendar year of a collector, as far as it was logged.

    Attributes
    ----------
    year : local calendar year
    days : local days of it that lie in the span looked at
    seen_frac : share of their time in which the collector's temperature was logged
    above_h : hours above each of `LEVELS_C`; None where the log does not tell [h]
    standing_days : days on which it stood hot
    peak_c : the hottest, None where nothing was logged [C]
    lowest_cold_bar : lowest pressure of a cold night, None where it is not logged [bar]
    highest_bar : highest pressure, likewise [bar]
    """

    year: int
    days: int
    seen_frac: float
    above_h: Mapping[int, float] | None
    standing_days: int
    peak_c: float | None
    lowest_cold_bar: float | None
    highest_bar: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class HoursAbove:
    """Hours of a year above some temperature: what the log leaves possible [h]."""

    year: int
    seen_frac: float
    least_h: float
    most_h: float | None


def hot_years(
    table: DayTable, *, first: date | None = None, last: date | None = None
) -> tuple[HotYear, ...]:
    """Add the days up by calendar years.

    Parameters
    ----------
    table : DayTable
        What each local day showed.
    first, last : date, optional
        The span to look at, both included; days of it that the table lacks count as not logged.
    """
    return tuple(
        _hot_year(table, year, inside, days) for year, inside, days in _years(table, first, last)
    )


def hours_above(
    table: DayTable, limit_c: float, *, first: date | None = None, last: date | None = None
) -> tuple[HoursAbove, ...]:
    """Bound the hours above any temperature, by calendar years.

    A day whose hottest moment lies below it has none; else the counted levels below and above it
    are the bounds. `most_h` is None where a day was hot and no level tells how long.

    Parameters
    ----------
    table : DayTable
        What each local day showed.
    limit_c : float
        The temperature [C].
    first, last : date, optional
        As for `hot_years`.
    """
    peak = table.column("peak_collector_c")
    cool = peak < limit_c
    under = [level for level in LEVELS_C if level <= limit_c]
    over = [level for level in LEVELS_C if level >= limit_c]
    most = _hours(table, under[-1]) if under else np.full(len(table.days), np.nan)
    least = _hours(table, over[0]) if over else np.zeros(len(table.days))
    most = np.where(cool | ~np.isfinite(peak), 0.0, most)
    least = np.where(cool, 0.0, np.nan_to_num(least))
    found = []
    for year, inside, days in _years(table, first, last):
        hours = float(most[inside].sum())
        found.append(
            HoursAbove(
                year=year,
                seen_frac=_seen(table, inside, days),
                least_h=float(least[inside].sum()),
                most_h=hours if np.isfinite(hours) else None,
            )
        )
    return tuple(found)


def _hot_year(table: DayTable, year: int, inside: Bools, days: int) -> HotYear:
    hours = {level: _hours(table, level)[inside] for level in LEVELS_C}
    told = any(np.isfinite(values).any() for values in hours.values())
    dates = {day for day, held in zip(table.days.dates, inside, strict=True) if held}
    return HotYear(
        year=year,
        days=days,
        seen_frac=_seen(table, inside, days),
        above_h={level: float(np.nansum(values)) for level, values in hours.items()}
        if told
        else None,
        standing_days=len({one.date for one in table.of_kind(_STANDING)} & dates),
        peak_c=_extreme(table.column("peak_collector_c")[inside], highest=True),
        lowest_cold_bar=_extreme(table.column("cold_pressure_bar")[inside], highest=False),
        highest_bar=_extreme(table.column("peak_bar")[inside], highest=True),
    )


def _years(table: DayTable, first: date | None, last: date | None) -> list[tuple[int, Bools, int]]:
    """Give each year, which days of the table are in it, and how many days the span has there."""
    begin = first or date.fromisoformat(table.days.dates[0])
    end = last or date.fromisoformat(table.days.dates[-1])
    dates = np.array(table.days.dates)
    years = []
    for year in range(begin.year, end.year + 1):
        low, high = max(begin, date(year, 1, 1)), min(end, date(year, 12, 31))
        inside = (dates >= low.isoformat()) & (dates <= high.isoformat())
        years.append((year, inside, (high - low).days + 1))
    return years


def _hours(table: DayTable, level_c: int) -> Floats:
    return table.column(f"hot_{level_c}_h")


def _seen(table: DayTable, inside: Bools, days: int) -> float:
    known = np.isfinite(table.column("peak_collector_c"))
    return float((coverages(table) * known)[inside].sum()) / max(days, 1)


def _extreme(values: Floats, *, highest: bool) -> float | None:
    known = values[np.isfinite(values)]
    if not known.size:
        return None
    return float(known.max() if highest else known.min())
