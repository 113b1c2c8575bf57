"""Stamps as a clock wrote them become UTC; rows that no clock can have meant are set aside."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.errors import LogError
from analysis.logs.clockfix import clock_error_s, in_span, span_keys
from analysis.logs.exchanged import day_and_month_exchanged
from analysis.logs.halfdays import AS_WRITTEN, UNTOLD, halves_told
from analysis.logs.midnights import at_the_end_of_their_day
from analysis.logs.planning import FilePlan, Told
from analysis.logs.resets import Reset, clock_resets
from analysis.logs.rows import Part
from analysis.logs.shapes import ProblemList
from analysis.logs.timecolumns import EARLIEST_S, LATEST_S
from analysis.logs.walltime import (
    DOUBLED_HOUR,
    GOOD,
    MISSING_HOUR,
    STRAIGHT_ON,
    utc_from_wall,
)
from analysis.units import SECONDS_PER_DAY

_DAY = int(SECONDS_PER_DAY)
# Dates that were exchanged jump by more (`exchanged.py`) [s].
_PAUSE_S = 14 * _DAY
# 1 January of the year 1 and 31 December 9999, UTC: no map can name a day beyond.
_CALENDAR_S = (-62_135_596_800, 253_402_214_400)


def zone_of(plan: FilePlan, told: Told) -> str:
    """Give the zone of a file's clock where its stamps do not carry it."""
    return plan.layout.stamp.zone or told.zone


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """How many rows the changes of the clock cost, whether it has twelve hours, and how many rows
    of a clock that had been reset, or of midnight, were put where they must belong.
    """

    missing: int = 0
    doubled: int = 0
    straight: int = 0
    halves_told: bool = False
    put_back: int = 0
    midnights: int = 0


def on_utc(plan: FilePlan, part: Part, told: Told, problems: ProblemList) -> tuple[Part, Clock]:
    """Bring stamps to UTC and set aside those that are no time a log can hold."""
    stamp, name = plan.layout.stamp, plan.name
    head = stamp.head
    runs_on = _runs_on(part.stamp_s)
    if not runs_on:
        part = _reversed(part)
        _no_exchanged_dates(plan, part)
    if stamp.count_s is not None and told.log_map.time_origin is not None:
        part = replace(part, stamp_s=part.stamp_s + int(told.log_map.time_origin.timestamp()))
    clock = Clock()
    if not runs_on:
        late = at_the_end_of_their_day(part.stamp_s)
        if late.any():
            part = replace(part, stamp_s=np.where(late, part.stamp_s + _DAY, part.stamp_s))
        part, put_back = _put_back(plan, part, told, problems)
        clock = Clock(put_back=put_back, midnights=int(np.count_nonzero(late)))
    strange = (part.stamp_s < EARLIEST_S) | (part.stamp_s >= LATEST_S)
    if strange.any():
        strange &= ~in_span(told.log_map, part.stamp_s)
    why = "before 1990 or after 2100: the logger's clock was not set (a column that counts from "
    why += "another day needs time_origin in [log])"
    part = _without(name, part, strange, head, why, problems)
    if not stamp.aware:
        part, clock = _from_wall(plan, part, told, problems, clock=clock)
    error_s = clock_error_s(part.stamp_s, told.log_map, zone=zone_of(plan, told))
    if error_s is not None:
        part = replace(part, stamp_s=part.stamp_s - error_s)
    if told.now_s is not None:
        ahead = part.stamp_s > told.now_s + int(SECONDS_PER_DAY)
        why = "in the future: the clock is ahead; set the logger's clock"
        part = _without(name, part, ahead, head, why, problems)
    return part, clock


def _runs_on(stamp_s: NDArray[np.int64]) -> bool:
    """Tell whether each stamp is later than the one before, and by no more than a pause.

    Then nothing is to be put right of what the order of rows shows.
    """
    steps = np.diff(stamp_s)
    return not len(steps) or bool(steps.min() > 0 and steps.max() <= _PAUSE_S)


def _no_exchanged_dates(plan: FilePlan, part: Part) -> None:
    if not day_and_month_exchanged(part.stamp_s):
        return
    raise LogError(
        "the rows jump by months and back, and run on without a jump once day and month change "
        "places in all dates up to the 12th: a spreadsheet exchanged them; give the file that "
        "the logger wrote, unopened",
        file=plan.name,
        line=int(part.lines[0]),
        column=plan.layout.stamp.head,
    )


def _from_wall(
    plan: FilePlan, part: Part, told: Told, problems: ProblemList, *, clock: Clock
) -> tuple[Part, Clock]:
    """Bring the stamps of a clock on the wall to UTC, and set aside those that it cannot show."""
    part, halves = _on_24_hours(plan, part, told, problems)
    zone = zone_of(plan, told)
    utc_s, state = utc_from_wall(part.stamp_s, zone=zone)
    remedy = f'say timezone = "UTC" in [log] if its clock does not follow {zone}'
    count = {}
    for code, why in (
        (MISSING_HOUR, f"this hour does not exist, the clocks go forward; {remedy}"),
        (DOUBLED_HOUR, f"this hour comes twice and no order of rows tells which; {remedy}"),
        (STRAIGHT_ON, f"this hour comes twice, and the log passes it once; {remedy}"),
    ):
        lines = part.lines[state == code]
        count[code] = len(lines)
        problems.add_rows(file=plan.name, lines=lines, column=plan.layout.stamp.head, why=why)
    part = replace(part, stamp_s=utc_s)
    return part.of_rows(state == GOOD) if any(count.values()) else part, replace(
        clock,
        missing=count[MISSING_HOUR],
        doubled=count[DOUBLED_HOUR],
        straight=count[STRAIGHT_ON],
        halves_told=halves,
    )


def _put_back(plan: FilePlan, part: Part, told: Told, problems: ProblemList) -> tuple[Part, int]:
    """Put rows of a clock that had been reset where they must belong; set aside the others.

    Those that the map places by its span of days, or that were never set, are left to others.
    """
    resets = clock_resets(part.stamp_s)
    if not resets:
        return part, 0
    stamp_s = part.stamp_s.copy()
    aside = np.zeros(len(stamp_s), dtype=np.bool_)
    placed = 0
    zone = None if plan.layout.stamp.aware else zone_of(plan, told)
    for reset in resets:
        run_s = part.stamp_s[reset.part]
        shift_s = reset.shift_s(int(run_s[-1]))
        if in_span(told.log_map, run_s).all() or (shift_s is None and run_s.max() < EARLIEST_S):
            continue
        if reset.proven and shift_s is not None:
            stamp_s[reset.part] += shift_s
            placed += len(run_s)
            continue
        aside[reset.part] = True
        problems.add_rows(
            file=plan.name,
            lines=part.lines[reset.part],
            column=plan.layout.stamp.head,
            why=_reset_says(reset, run_s, shift_s, zone),
        )
    part = replace(part, stamp_s=stamp_s)
    return (part.of_rows(~aside) if aside.any() else part), placed


def _reset_says(
    reset: Reset, run_s: NDArray[np.int64], shift_s: int | None, zone: str | None
) -> str:
    """Say between which rows the rows of a reset clock belong, and what places them."""
    before_s, after_s = reset.between_s
    why = "the logger's clock was reset, years before the rows around it; these rows belong after "
    if after_s is None or shift_s is None:
        return f"{why}{_written(before_s)}, and no later row tells when"
    why = f"{why}{_written(before_s)} and before {_written(after_s)}"
    if run_s.min() < _CALENDAR_S[0] or run_s.max() >= _CALENDAR_S[1]:
        return why
    keys = span_keys(run_s, shift_s, zone=zone)
    return f"{why}; if the logger ran on while its clock was set, {keys} in [log] put them there"


def _written(stamp_s: int) -> str:
    return str(np.datetime64(stamp_s, "s").astype("datetime64[m]")).replace("T", " ")


def _on_24_hours(
    plan: FilePlan, part: Part, told: Told, problems: ProblemList
) -> tuple[Part, bool]:
    """Tell the halves of the day where the clock does not; whether that was so."""
    if plan.layout.stamp.count_s is not None or told.log_map.time_format is not None:
        return part, False
    stamp_s, state = halves_told(part.stamp_s)
    if not (state != AS_WRITTEN).any():
        return part, False
    why = "the clock shows twelve hours and no am or pm, and no order of rows tells the half of "
    why += "the day; set the logger to 24 hours"
    part = replace(part, stamp_s=stamp_s)
    return _without(plan.name, part, state == UNTOLD, plan.layout.stamp.head, why, problems), True


def _without(
    name: str, part: Part, bad: NDArray[np.bool_], head: str, why: str, problems: ProblemList
) -> Part:
    if not bad.any():
        return part
    problems.add_rows(file=name, lines=part.lines[bad], column=head, why=why)
    return part.of_rows(~bad)


def _reversed(part: Part) -> Part:
    """Turn a file written newest first, so that the order of rows can prove the doubled hour."""
    steps = np.diff(part.stamp_s)
    rises, falls = np.count_nonzero(steps > 0), np.count_nonzero(steps < 0)
    if not len(steps) or rises - falls >= -len(steps) // 2:
        return part
    return replace(
        part,
        stamp_s=part.stamp_s[::-1].copy(),
        values=tuple(values[::-1].copy() for values in part.values),
        lines=part.lines[::-1].copy(),
    )
