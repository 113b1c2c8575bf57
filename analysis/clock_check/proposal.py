"""What would put the clock right: a zone, an offset, a drift; as keys of the `[log]` table."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from analysis.clock_check.course import (
    Basis,
    ClockDays,
    Course,
    Piece,
    cost_of,
    middles_of,
)
from analysis.record import Floats
from analysis.site import Site
from analysis.units import SECONDS_PER_HOUR

COVER_95 = 1.96
# Off by less is good enough for every figure (engineering judgement; the published checks of
# loggers ask for a quarter of an hour).
_WORTH_S = 900.0
# Without a sun sensor less is not stated, nor a smaller step between two stretches: a season lay 20
# minutes beside the next one on a healthy plant (tests.bench.clock, engineering judgement).
_TOLD_S: Mapping[Basis, float] = {"sun sensor": _WORTH_S, "collector": 1500.0}
_STEP_S, _NEARER_S = 1320.0, 300.0
# A zone must explain the days this much better than no error, and as well as a free course.
_CLEARLY = 12.0
_AS_WELL = 12.0
_HOURS = range(-12, 15)


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """Keys of `[log]` that put the clock right.

    Attributes
    ----------
    timezone : what the clock runs on; None where that is not it
    offset_min : by how much it is ahead [min]; with a drift, on the first day of it
    drift_min_per_month : what it gains a month of 30.44 days [min]
    from_date, until_date : the days for which that holds, the second excluded; None: open
    """

    timezone: str | None = None
    offset_min: float | None = None
    drift_min_per_month: float | None = None
    from_date: date | None = None
    until_date: date | None = None


def wrong_pieces(course: Course) -> tuple[Piece, ...]:
    """Give the stretches in which the clock is surely off by enough to matter.

    Beyond its uncertainty, and by what the basis can tell; or by less where it stands out from the
    stretches beside it, which what a plant does all year to its estimate does not.
    """
    pieces = course.pieces
    return tuple(
        one
        for number, one in enumerate(pieces)
        if _beyond(one, _TOLD_S[course.basis])
        or (_beyond(one, _WORTH_S) and _stands_out(one, pieces[max(number - 1, 0) : number + 2]))
    )


def _beyond(one: Piece, least_s: float) -> bool:
    return abs(one.offset_s) > max(COVER_95 * one.u_s, least_s)


def _stands_out(one: Piece, near: Sequence[Piece]) -> bool:
    """Tell whether each stretch beside this one is clearly nearer to the sun."""
    return len(near) > 1 and all(
        abs(one.offset_s - other.offset_s) > _STEP_S
        and abs(one.offset_s) - abs(other.offset_s) > _NEARER_S
        for other in near
        if other is not one
    )


def stated_zone(site: Site) -> str:
    """Give the zone that the clock is taken to run on."""
    return site.log.timezone or site.place.timezone


def zone_of_clock(days: ClockDays, site: Site, course: Course) -> str | None:
    """Give the zone that the clock seems to run on, None where it is not a matter of zones.

    `course` is what `course_of` says of the days. Where a log covers both halves of the year,
    summer time tells zones of one offset apart; where it does not, the zone of the place goes
    before others.
    """
    nothing = float(_cost_but_for_bias(days, days.offset_s[None])[0])
    if nothing <= _CLEARLY:
        return None
    free = float(cost_of(days, days.offset_s - _course_s(course, days)))
    names, error_s = _zones(days, site)
    costs = _cost_but_for_bias(days, days.offset_s - error_s)
    best: tuple[float, str] | None = None
    for name, cost in zip(names, costs.tolist(), strict=True):
        explains = cost + _CLEARLY < nothing and cost < free + _AS_WELL
        # Equal costs leave the earlier one.
        if explains and (best is None or cost < best[0] - 1e-6):
            best = (cost, name)
    return None if best is None else best[1]


def _cost_but_for_bias(days: ClockDays, offset_s: Floats) -> Floats:
    """Give what days cost that are off by nothing but what the estimate itself may be.

    Parameters
    ----------
    offset_s : shape (k, n), k readings of the errors of the n days [s]

    Returns
    -------
    shape (k,)
    """
    bias_s = COVER_95 * days.stays_s
    middle_s = np.clip(middles_of(days, offset_s)[0], -bias_s, bias_s)
    return cost_of(days, offset_s - middle_s[:, None])


def corrections(course: Course, zone: str | None, site: Site) -> tuple[Correction, ...]:
    """Give what would put the clock right, the plainest first; nothing where it is right.

    Parameters
    ----------
    course, zone : as `course_of` and `zone_of_clock` find them
    site : where it stands
    """
    found = [] if zone is None else [Correction(timezone=zone)]
    own = _own(course, site)
    return tuple(found if own is None else [*found, own])


def _own(course: Course, site: Site) -> Correction | None:
    """Give the correction by numbers: of a drift, or of the last stretch that is wrong."""
    zone = site.place.timezone
    drift = course.drift
    if drift is not None:
        # The months of a drift are for people to look at: none of them need be off by enough.
        if drift_wrong_since_s(course) is None:
            return None
        return Correction(
            offset_min=round(drift.offset_s / 60.0),
            drift_min_per_month=round(drift.per_month_s / 60.0, 1),
            from_date=_date(drift.since_s, zone),
        )
    wrong = wrong_pieces(course)
    if not wrong:
        return None
    last = wrong[-1]
    place = course.pieces.index(last)
    later = course.pieces[place + 1 :]
    return Correction(
        offset_min=round(last.offset_s / 60.0),
        from_date=_date(last.start_s, zone) if place else None,
        until_date=_date(later[0].start_s, zone) if later else None,
    )


def _course_s(course: Course, days: ClockDays) -> Floats:
    if course.drift is not None:
        return course.drift.at(days.time_s)
    starts = np.array([one.start_s for one in course.pieces])
    place = np.searchsorted(starts, days.time_s, side="right") - 1
    return np.array([one.offset_s for one in course.pieces])[place]


def _zones(days: ClockDays, site: Site) -> tuple[list[str], Floats]:
    """Give zones that a clock may run on but for the stated one, and the errors that would make.

    Returns
    -------
    names, and shape (zones, n), by how much a clock on each is ahead on the n days [s]
    """
    stated, own = stated_zone(site), site.place.timezone
    as_stated = _offsets_s(stated, days.time_s)
    as_own = as_stated if own == stated else _offsets_s(own, days.time_s)
    # The names of fixed zones count westwards.
    names = [own, "UTC", *(f"Etc/GMT{-hours:+d}" for hours in _HOURS if hours)]
    fixed_s = np.array([0.0, *(SECONDS_PER_HOUR * hours for hours in _HOURS if hours)])
    error_s = np.concatenate([as_own[None], np.repeat(fixed_s[:, None], len(as_own), axis=1)])
    error_s -= as_stated
    other = np.flatnonzero(error_s.any(axis=1))
    return [names[one] for one in other.tolist()], error_s[other]


def _offsets_s(zone: str, time_s: Floats) -> Floats:
    info = ZoneInfo(zone)
    found = []
    for one in time_s.tolist():
        offset = datetime.fromtimestamp(one, info).utcoffset()
        found.append(0.0 if offset is None else offset.total_seconds())
    return np.array(found)


def _date(time_s: float, zone: str) -> date:
    return datetime.fromtimestamp(time_s, UTC).astimezone(ZoneInfo(zone)).date()


def minutes(value: float) -> str:
    """Write minutes, whole ones without a point."""
    return f"{value:.0f}" if abs(value - round(value)) < 0.05 else f"{value:.1f}"


def keys_of(one: Correction, *, apart: str = ", ") -> str:
    """Write a correction as keys of `[log]`, with this between two of them."""
    if one.timezone is not None:
        return f'timezone = "{one.timezone}"'
    said = [f"clock_offset_min = {minutes(one.offset_min or 0.0)}"]
    if one.drift_min_per_month is not None:
        said.append(f"clock_drift_min_per_month = {minutes(one.drift_min_per_month)}")
    if one.from_date is not None:
        said.append(f"clock_from = {one.from_date.isoformat()}")
    if one.until_date is not None:
        said.append(f"clock_until = {one.until_date.isoformat()}")
    return apart.join(said)


def off_words(offset_s: float, u_s: float) -> str:
    """Say by how much a clock is off, with its 95 % give or take."""
    way = "ahead of" if offset_s > 0.0 else "behind"
    shown = abs(offset_s) / 60.0
    size = f"{shown:.0f} minutes" if shown < 120.0 else f"{shown / 60.0:.1f} hours"
    return f"about {size} {way} the sun (give or take {COVER_95 * u_s / 60.0:.0f} minutes)"


def course_words(course: Course) -> str:
    """Say in one sentence what the clock does."""
    seen = f"by {course.days} days of the {course.basis}"
    drift = course.drift
    if drift is not None:
        way = "gains" if drift.per_month_s > 0.0 else "loses"
        size = minutes(abs(drift.per_month_s) / 60.0)
        give = COVER_95 * drift.u_per_month_s / 60.0
        return f"the clock {way} {size} minutes a month (give or take {give:.1f}), {seen}"
    wrong = wrong_pieces(course)
    if not wrong:
        worst = max(abs(one.offset_s) + COVER_95 * one.u_s for one in course.pieces) / 60.0
        return f"the clock fits the sun within {worst:.0f} minutes, {seen}"
    last = wrong[-1]
    verb = "is" if last is course.pieces[-1] else "was"
    steps = "" if len(course.pieces) == 1 else " in its last wrong stretch"
    return f"the clock {verb}{steps} {off_words(last.offset_s, last.u_s)}, {seen}"


def drift_wrong_since_s(course: Course) -> float | None:
    """Give when a drifting clock came to be off by enough to matter, None where it is not."""
    drift = course.drift
    if drift is None:
        return None
    u_s = float(np.median([one.u_s for one in course.pieces]))
    limit_s = max(COVER_95 * u_s, _TOLD_S[course.basis])
    end_s = course.pieces[-1].end_s
    times = np.linspace(course.pieces[0].start_s, end_s, 400)
    wrong = np.flatnonzero(np.abs(drift.at(times)) > limit_s)
    return float(times[wrong[0]]) if wrong.size else None
