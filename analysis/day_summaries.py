"""Days of which the logger kept only what they came to: heat, hottest collector, pump hours.

Where samples cover at least half of a day they count, and its summary is left aside; else the
summary is what is known of the day, with bounds as wide as such figures deserve. Nothing is worked
out from it that needs samples.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from analysis.case import Case
from analysis.days import DayTable
from analysis.record import Bools, Floats
from analysis.uncertainty import RECTANGLE
from analysis.units import SECONDS_PER_HOUR, kwh_from_j

DAILY_SUMMARY = "daily_summary"
# A controller's own sum, mostly from a flow that somebody typed in and two clamped sensors: off by
# so much either way, and by the same all year (engineering judgement, standard uncertainty).
SUMMARY_FRAC = 0.15
# Samples of less of the day than this say less of it than its summary (engineering judgement).
_SAMPLES_WIN_FRAC = 0.5
# The last digits that a figure may be printed with, the coarsest first [kWh].
_LAST_DIGITS_KWH = (10.0, 1.0, 0.1, 0.01)
_NEAR = 1e-6


def summary_columns(case: Case, columns: Mapping[str, Floats]) -> dict[str, Floats]:
    """Give the columns of the table of days that summaries change.

    Parameters
    ----------
    case : whole local days
    columns : what samples say of each day, shape (days,)

    Returns
    -------
    dict
        The changed columns, and `summed`, 1 where the heat is that of the summary; empty where no
        day has a summary.
    """
    if not case.record.daily:
        return {}
    length_s = case.days.length_s
    heat, peak, hours = (
        _of_day(case, name) for name in ("day_heat", "day_peak_collector", "day_pump_hours")
    )
    known_s = np.nan_to_num(columns["known_s"])
    told = np.isfinite(heat) | np.isfinite(peak) | np.isfinite(hours)
    alone = told & (known_s < _SAMPLES_WIN_FRAC * length_s)
    summed = alone & np.isfinite(heat)
    known = summed if "day_heat" in case.channels or case.heat.basis is not None else alone
    changed = {
        name: np.where(summed, np.nan, values)
        for name, values in columns.items()
        if name.startswith(("heat_", "expected_", "steady_"))
    }
    nothing = np.full(len(case.days), np.nan)
    pump_kwh = kwh_from_j(hours * SECONDS_PER_HOUR * case.site.loop.pump_w)
    return {
        **changed,
        "heat_kwh": np.where(summed, heat, changed.get("heat_kwh", nothing)),
        "heat_method_u_kwh": np.where(
            summed, SUMMARY_FRAC * heat, changed.get("heat_method_u_kwh", nothing)
        ),
        "heat_random_kwh2": np.where(summed, 0.0, changed.get("heat_random_kwh2", nothing)),
        "known_s": np.where(known, length_s, columns["known_s"]),
        "first_s": np.where(alone, case.days.edge_s[:-1], columns["first_s"]),
        "last_s": np.where(alone, case.days.edge_s[1:], columns["last_s"]),
        "pump_kwh": np.where(alone & np.isfinite(hours), pump_kwh, columns["pump_kwh"]),
        "peak_collector_c": np.where(
            alone, np.fmax(peak, columns["peak_collector_c"]), columns["peak_collector_c"]
        ),
        "summed": np.where(summed, 1.0, np.nan),
    }


def _of_day(case: Case, name: str) -> Floats:
    """Give the figure of each day, NaN where it has none."""
    values = case.record.get(name)
    found = np.full(len(case.days), np.nan)
    if values is not None:
        inside = case.day >= 0
        np.fmax.at(found, case.day[inside], values[inside])
    return found


def summed_days(table: DayTable) -> Bools:
    """Tell the days whose heat is that of a summary."""
    return np.asarray(table.column("summed") == 1.0)


def with_rounding(table: DayTable) -> DayTable:
    """Widen the bounds of summed days by the last digit that the logger printed.

    Whether it rounded or cut off nobody knows, and it did the same all year: half a digit to both
    sides, a rectangle. What rounding does to each day anew is as much again, at random.
    """
    summed = summed_days(table)
    if not summed.any():
        return table
    digit = _last_digit_kwh(table.column("heat_kwh")[summed])
    u_kwh = digit / 2.0 / RECTANGLE
    columns = dict(table.columns)
    method, random = columns["heat_method_u_kwh"], columns["heat_random_kwh2"]
    columns["heat_method_u_kwh"] = np.where(summed, np.hypot(method, u_kwh), method)
    columns["heat_random_kwh2"] = np.where(summed, random + u_kwh**2, random)
    return replace(table, columns=columns)


def _last_digit_kwh(heat_kwh: Floats) -> float:
    for digit in _LAST_DIGITS_KWH:
        if bool((np.abs(heat_kwh - np.round(heat_kwh / digit) * digit) < _NEAR).all()):
            return digit
    return 0.0


def summary_notes(table: DayTable) -> tuple[str, ...]:
    """Say of how many days only a summary is known, () where of none."""
    count = int(summed_days(table).sum())
    if not count:
        return ()
    days = "1 day is" if count == 1 else f"{count} days is"
    return (
        f"Heat of {days} what the logger noted for the whole day, without samples: its bounds are "
        f"wide ({SUMMARY_FRAC:.0%} standard uncertainty and the printed digits), and what needs "
        "samples is not judged there",
    )
