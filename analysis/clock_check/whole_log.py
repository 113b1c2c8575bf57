"""The clock of a log that was just read: what it does, and what would put it right."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from analysis.assess import observe
from analysis.clock_check.course import Course, clock_days, course_of
from analysis.clock_check.proposal import (
    Correction,
    corrections,
    course_words,
    keys_of,
    zone_of_clock,
)
from analysis.clock_check.signs import SENSORS
from analysis.faults.clock_wrong import ClockWrong
from analysis.logs.asking import Choice, Question
from analysis.logs.shapes import ParsedLog
from analysis.record import record_from_stamps
from analysis.site import LogMap, Site
from analysis.units import SECONDS_PER_DAY

# What a look goes back at most: more tells little of what the clock does now [s].
_MOST_S = 400 * int(SECONDS_PER_DAY)
_TELLING = ("collector", *SENSORS, "store_bottom", "store_middle", "store_top", "pump", "flow",
            "loop_hot", "loop_cold", "ambient")  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockSeen:
    """What a log says of its clock: its course in numbers and words, and what would right it."""

    course: Course
    says: str
    corrections: tuple[Correction, ...]


def look_at_clock(parsed: ParsedLog, *, site: Site, log_map: LogMap) -> ClockSeen | None:
    """Look what the sun says of a log's clock.

    Parameters
    ----------
    parsed : a log as it was read
    site : its place and collectors
    log_map : how it was read

    Returns
    -------
    ClockSeen or None
        None where fewer than eight days tell.
    """
    columns = {name: parsed.columns[name] for name in _TELLING if name in parsed.columns}
    if not len(parsed.stamp_s) or not ({"collector", *SENSORS} & columns.keys()):
        return None
    late = int(np.searchsorted(parsed.stamp_s, int(parsed.stamp_s[-1]) - _MOST_S))
    record = record_from_stamps(
        stamp_s=parsed.stamp_s[late:],
        columns={name: values[late:] for name, values in columns.items()},
        stamp=parsed.stamp,
    )
    bare = replace(site, log=log_map)
    table = observe(
        site=bare, record=record, channels=frozenset(columns), catalogue=(ClockWrong(),)
    )
    days = clock_days(table, bare)
    if days is None:
        return None
    course = course_of(days)
    found = corrections(course, zone_of_clock(days, bare, course), bare)
    if all_aware(parsed):
        # What each stamp says of its zone no map can overrule.
        found = tuple(one for one in found if one.timezone is None)
    return ClockSeen(course=course, says=course_words(course), corrections=found)


def all_aware(parsed: ParsedLog) -> bool:
    """Tell whether every file's stamps carry their own zone."""
    return all(
        one.understood is not None and one.understood.time_zone_source == "stamps"
        for one in parsed.files
    )


def clock_question(seen: ClockSeen | None, *, files: Iterable[str]) -> Question | None:
    """Ask whether a clock that seems wrong is to be put right; None where it fits the sun."""
    if seen is None or not seen.corrections:
        return None
    choices = [
        Choice(value=keys_of(one, apart="\n"), says=_says(one), certainty_frac=float("nan"))
        for one in seen.corrections
    ]
    leave = Choice(value="", says="leave the stamps as they are", certainty_frac=float("nan"))
    return Question(
        kind="clock",
        file=next(iter(files), ""),
        subject="",
        choices=(*choices, leave),
        why=seen.says,
    )


def _says(one: Correction) -> str:
    if one.timezone is not None:
        return f"the clock runs on {_zone_says(one.timezone)}: read its stamps by that"
    offset = one.offset_min or 0.0
    said = f"take {abs(offset):g} minutes {'off' if offset > 0.0 else 'on to'} the stamps"
    said = said.replace("take", "take" if offset > 0.0 else "put").replace("on to", "onto")
    if one.drift_min_per_month is not None:
        way = "more" if one.drift_min_per_month > 0.0 else "less"
        said += f", and {abs(one.drift_min_per_month):g} minutes {way} for every month after"
    if one.from_date is not None:
        said += f", from {one.from_date.isoformat()} on"
    if one.until_date is not None:
        said += f", until {one.until_date.isoformat()}"
    return said


def _zone_says(zone: str) -> str:
    if not zone.startswith("Etc/GMT"):
        return zone
    # These names count westwards.
    hours = -int(zone.removeprefix("Etc/GMT"))
    return f"UTC{hours:+d} all the year"
