"""A wrong clock: the day in the log stands beside the sun's day.

Looks alike and is not it: collectors that face east or west, hills, dull mornings; whole seasons of
them shift the estimate a little, and its uncertainty holds that.
"""

from dataclasses import dataclass, replace

import numpy as np

from analysis.case import Case
from analysis.clock_check.course import LEAST_DAYS, Course, Piece, clock_days, course_of
from analysis.clock_check.proposal import (
    corrections,
    course_words,
    drift_wrong_since_s,
    keys_of,
    off_words,
    wrong_pieces,
    zone_of_clock,
)
from analysis.clock_check.signs import clock_columns
from analysis.days import DayTable
from analysis.faults._cautions import ELECTRICITY, LOCAL_CODES
from analysis.faults._protocol import (
    Conclusion,
    FaultText,
    Found,
    History,
    Judged,
    NotJudged,
    Observation,
)
from analysis.precedence_rules import CLOCK_AHEAD, CLOCK_AHEAD_BY_ROOF
from analysis.results import Evidence
from analysis.sources import INEICHEN, Source
from analysis.urgency import urgency_of

TEXT = FaultText(
    title="The logger's clock is wrong",
    customer="The clock of the logger is wrong, so the times in this report are wrong too.",
    technician=(
        "First and last light, or the collector's warming and cooling over the day, lie beside the "
        "sun's day at this place. Days, mornings and backup hours are judged at wrong times. If "
        "the controller goes by the same clock, its timers are off as well."
    ),
    likely_causes=(
        "Summer time not followed, or another zone set",
        "Clock set wrongly, or lost with the power and set by guess",
        "A clock that gains or loses some minutes a month",
        "Longitude in the site file wrong, or the stamp marks the other end of a long step",
    ),
    check_next=(
        "From here: compare the time in the logger's newest row with your own clock",
        "From here: if the log stays as it is, say so in the [log] table: timezone, or "
        "clock_offset_min with clock_from",
        "On site: set date, time and zone of logger and controller; note the day in the site file",
        "If it loses the time with the power: whoever is licensed for it changes its backup cell",
    ),
    cautions=(ELECTRICITY, LOCAL_CODES),
)
_SURE = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockWrong:
    """The log's day beside the sun's."""

    kind: str = "clock_wrong"
    text: FaultText = TEXT
    sources: tuple[Source, ...] = (
        INEICHEN,
        Source("Symmetry of the day about the sun's noon; limits are engineering judgement"),
    )

    def observe(self, case: Case) -> Observation:
        """See what each day says of the clock."""
        return Observation(columns=clock_columns(case))

    def conclude(self, history: History) -> Conclusion:
        """Find the plainest course of the clock, and what of it is wrong."""
        days = clock_days(history.table, history.site)
        if days is None:
            return NotJudged(
                why=f"fewer than {LEAST_DAYS['sun sensor']} days of a sun sensor, or "
                f"{LEAST_DAYS['collector']} of a collector that stays mild, tell the sun's hours"
            )
        course = course_of(days)
        if course.drift is None and not wrong_pieces(course):
            return Judged(findings=(), why=course_words(course))
        zone = zone_of_clock(days, history.site, course)
        if course.drift is not None and zone is None:
            found = self._drifting(course, history)
        else:
            found = self._pieces(course, history, zone)
        if found:
            remedy = keys_of(corrections(course, zone, history.site)[0])
            last = found[-1]
            found[-1] = replace(last, summary=f"{last.summary}; in [log]: {remedy}")
        return Judged(findings=tuple(found), why="" if found else course_words(course))

    def _pieces(self, course: Course, history: History, zone: str | None) -> list[Found]:
        starts = [
            _day_start_s(history.table, one.start_s) if number else history.start_s
            for number, one in enumerate(course.pieces)
        ]
        ends = [*starts[1:], None]
        wrong = wrong_pieces(course)
        clock = "" if zone is None else f", as if it ran on {zone}"
        return [
            self._found(
                start_s=start_s,
                end_s=end_s,
                piece=one,
                course=course,
                summary=f"Clock {off_words(one.offset_s, one.u_s)}{clock}, by {one.days} days of "
                f"the {course.basis}",
            )
            for one, start_s, end_s in zip(course.pieces, starts, ends, strict=True)
            if one in wrong
        ]

    def _drifting(self, course: Course, history: History) -> list[Found]:
        since_s = drift_wrong_since_s(course)
        if since_s is None:
            return []
        said = course_words(course)
        return [
            self._found(
                start_s=_day_start_s(history.table, since_s),
                end_s=None,
                piece=course.pieces[-1],
                course=course,
                summary=said[4].upper() + said[5:],
            )
        ]

    def _found(
        self, *, start_s: int, end_s: int | None, piece: Piece, course: Course, summary: str
    ) -> Found:
        certainty = 0.95 if abs(piece.offset_s) > _SURE * piece.u_s else 0.8
        return Found(
            start_s=start_s,
            end_s=end_s,
            # It can be put right from the desk, so it is never worth a journey of its own.
            urgency=urgency_of(self.kind, certainty=certainty, level="possible"),
            certainty=certainty,
            summary=summary,
            evidence=(
                Evidence(
                    what=CLOCK_AHEAD if course.basis == "sun sensor" else CLOCK_AHEAD_BY_ROOF,
                    start_s=int(piece.start_s),
                    end_s=int(piece.end_s),
                    value=piece.offset_s / 60.0,
                    unit="min",
                ),
                Evidence(
                    what="standard uncertainty of that",
                    start_s=int(piece.start_s),
                    end_s=int(piece.end_s),
                    value=piece.u_s / 60.0,
                    unit="min",
                ),
            ),
        )


def _day_start_s(table: DayTable, time_s: float) -> int:
    day = int(np.searchsorted(table.days.edge_s, time_s, side="right")) - 1
    return int(table.days.edge_s[max(day, 0)])
