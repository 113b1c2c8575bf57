"""Figures that a finding shows to be wrong are taken out of the days: unknown, never a guess.

A sensor that repeats one value goes on giving numbers, and a pump command without a meter goes on
standing for a flow; once they are found out, the heat of those days is not known. Nor is that of a
flow meter which other sensors disprove. Their coverage says so. Sensors that have changed places
are not exchanged by guess: a map that is put right brings the figures back.
"""

from collections.abc import Sequence

import numpy as np

from analysis.day_summaries import summed_days
from analysis.days import DayTable
from analysis.faults.sensor_fault import STUCK
from analysis.faults.sensors_swapped import swapped_channels
from analysis.field_check.hours import HOUR_KIND
from analysis.heat import BASES
from analysis.record import Floats
from analysis.results import Finding
from analysis.sky import SOURCES_OF_SUN

# A reading held against the papers alone is doubted in words, its heat stays (judgement).
_PROVEN = 0.8
# What the healthy figure is worked out at, besides the sun.
_HEALTHY_RESTS_ON = frozenset({"collector", "loop_hot", "loop_cold", "store_bottom", "ambient"})


def without_doubtful(
    table: DayTable, findings: Sequence[Finding], *, channels: frozenset[str], until_s: int
) -> DayTable:
    """Give the table without the figures that findings disprove.

    Parameters
    ----------
    table : every observed day
    findings : what was found, explained ones included
    channels : channels ever seen at the site
    until_s : stands for the end of findings that last
    """
    basis, needs = next(
        ((name, needs) for name, needs in BASES if needs <= channels), (None, frozenset())
    )
    stuck = {
        (item.channel, item.date)
        for item in table.of_kind("sensor_fault")
        if item.values["way"] == STUCK and item.values.get("moved") == 1.0
    }
    no_heat = {date for name, date in stuck if name in needs}
    no_sun: set[str] = set()
    if stuck:
        sky = zip(table.days.dates, table.column("sky_source").tolist(), strict=True)
        no_sun = {
            date
            for date, number in sky
            if np.isfinite(number) and (SOURCES_OF_SUN[int(number)], date) in stuck
        }
    if basis is not None and basis.startswith("pump_and"):
        no_heat |= _standing_days(table, findings, until_s)
    elif basis is not None:
        no_heat |= _misread_days(table, findings, until_s)
    swapped = _swapped_days(table, findings, until_s)
    no_heat |= {date for date, names in swapped.items() if names & needs}
    no_healthy = {date for date, names in swapped.items() if names & _HEALTHY_RESTS_ON}
    # What the logger summed up does not rest on the sensors that were found wrong here.
    if no_heat:
        summed = zip(table.days.dates, summed_days(table).tolist(), strict=True)
        no_heat -= {day for day, is_summed in summed if is_summed}
    wrong = no_heat | no_healthy | no_sun
    if not wrong:
        return table
    columns = dict(table.columns)
    _forget(table, columns, no_heat, ("heat_", "expected_", "steady_"))
    _forget(table, columns, no_healthy, ("expected_", "steady_"))
    _forget(table, columns, no_sun, ("expected_", "steady_", "irradiation_"))
    if no_heat and "known_s" in columns:
        columns["known_s"] = np.where(table.days.among(no_heat), 0.0, columns["known_s"])
    happenings = tuple(
        item for item in table.happenings if item.kind != HOUR_KIND or item.date not in wrong
    )
    return DayTable(days=table.days, columns=columns, happenings=happenings)


def _swapped_days(
    table: DayTable, findings: Sequence[Finding], until_s: int
) -> dict[str, frozenset[str]]:
    """Give the days on which channels had changed places, and which."""
    edges = table.days.edge_s
    days: dict[str, frozenset[str]] = {}
    for item in findings:
        if item.kind != "sensors_swapped":
            continue
        end_s = until_s if item.end_s is None else item.end_s
        names: frozenset[str] = frozenset()
        for seen in table.of_kind("sensors_swapped"):
            if item.start_s <= seen.start_s < end_s:
                names |= swapped_channels(seen)
        for day in np.flatnonzero((edges[1:] > item.start_s) & (edges[:-1] < end_s)).tolist():
            date = table.days.dates[day]
            days[date] = days.get(date, frozenset()) | names
    return days


def _standing_days(table: DayTable, findings: Sequence[Finding], until_s: int) -> set[str]:
    """Give the days on which a command moved nothing."""
    spans = [
        (item.start_s, until_s if item.end_s is None else item.end_s)
        for item in findings
        if item.kind == "lost_circulation"
    ]
    return {
        item.date
        for item in table.of_kind("lost_circulation")
        if any(first <= item.start_s < last for first, last in spans)
    }


def _misread_days(table: DayTable, findings: Sequence[Finding], until_s: int) -> set[str]:
    """Give the days on which a flow meter is proven to read wrong."""
    edges, wrong = table.days.edge_s, np.zeros(len(table.days), dtype=np.bool_)
    for item in findings:
        if item.kind == "flow_reading_wrong" and item.certainty >= _PROVEN:
            end_s = until_s if item.end_s is None else item.end_s
            wrong |= (edges[1:] > item.start_s) & (edges[:-1] < end_s)
    return {day for day, one in zip(table.days.dates, wrong.tolist(), strict=True) if one}


def _forget(
    table: DayTable, columns: dict[str, Floats], days: set[str], heads: tuple[str, ...]
) -> None:
    if days:
        gone = table.days.among(days)
        for name in table.columns:
            if name.startswith(heads) and name != "heat_measured":
                columns[name] = np.where(gone, np.nan, columns[name])
