"""Stage two: what the clock did over the whole log.

From the days' errors the plainest course that explains them: right or off by a constant, put over
in steps, or gaining so much a month from some day on. Single days are drowned by clouds, so the
cost of a day grows with the logarithm of how far it is off; and what a season may do to the
estimate costs nothing.
"""

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from analysis.clock_check.course_kernel import cheapest_cuts, counts_of, fit_bent
from analysis.clock_check.curves import eastward
from analysis.compiled import given
from analysis.days import DayTable
from analysis.quantiles import median_of
from analysis.record import Bools, Floats, Ints, known_or_zero
from analysis.site import Site
from analysis.stepping import values_kind
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_MONTH

Basis = Literal["sun sensor", "collector"]

# What a single day adds to the noise it knows of [s], and what stays however many days there are:
# at once, and for a plane turned fully east or west (all measured by tests.bench.clock) [s].
_DAY_S = {"sun sensor": 360.0, "collector": 300.0}
_STAYS_S = {"sun sensor": 150.0, "collector": 420.0}
_STAYS_EAST_S = {"sun sensor": 600.0, "collector": 840.0}
# Fewer days say nothing; a piece more must explain them by so much (judgement; with 5 and 8 for
# the collector 94 and 86 of 96 invented steps of half an hour and an hour were found, and none in
# 45 healthy years either way).
LEAST_DAYS = {"sun sensor": 4, "collector": 8}
_LEAST_PIECE = 8
_PENALTY = {"sun sensor": 8.0, "collector": 5.0}
# Days scatter as Student's t of so many degrees; what a season does to them is free up to this
# share of what stays (engineering judgement; both measured by tests.bench.clock).
_TAIL, _FREE = 4.0, 0.5
# Smaller steps are seasons; a smaller change through a drift likewise [s].
_LEAST_STEP_S = {"sun sensor": 600.0, "collector": 1200.0}
_MOST_EDGES = 400
_LEVELS = 72
_HINGES = 24
_ROUNDS = 12
_COVER_95 = 1.96


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClockDays:
    """The days that say something of the clock, shape (n,).

    Attributes
    ----------
    day : their numbers in the table, rising
    time_s : the middle of each [s]
    offset_s : by how much the clock is ahead [s]
    noise_s : standard uncertainty of the single day [s]
    stays_s : standard uncertainty that all days share [s]
    basis : what most of them go by
    """

    day: np.ndarray
    time_s: Floats
    offset_s: Floats
    noise_s: Floats
    stays_s: float
    basis: Basis

    def part(self, kept: Bools | slice) -> "ClockDays":
        """Give some of the days."""
        return ClockDays(
            day=self.day[kept],
            time_s=self.time_s[kept],
            offset_s=self.offset_s[kept],
            noise_s=self.noise_s[kept],
            stays_s=self.stays_s,
            basis=self.basis,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A stretch with one error.

    `start_s`, `end_s` run from the middle of its first day that says something to that of its last
    one, `offset_s` by how much the clock is ahead [s], `u_s` its standard uncertainty [s].
    """

    start_s: float
    end_s: float
    offset_s: float
    u_s: float
    days: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """A clock that is off by `offset_s` until `since_s` and gains `per_month_s` from then on."""

    since_s: float
    offset_s: float
    per_month_s: float
    u_per_month_s: float

    def at(self, time_s: Floats | float) -> Floats:
        """Give the error at instants [s]."""
        late_s = np.maximum(np.asarray(time_s, dtype=np.float64) - self.since_s, 0.0)
        return self.offset_s + self.per_month_s * late_s / SECONDS_PER_MONTH


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """What the clock did: pieces in order of time, one where it is steady; or a drift.

    With a drift, the pieces are stretches of a month for people to look at.
    """

    pieces: tuple[Piece, ...]
    drift: Drift | None
    basis: Basis
    days: int


def clock_days(table: DayTable, site: Site) -> ClockDays | None:
    """Give the days that say something of the clock; None where too few do.

    Parameters
    ----------
    table : with the columns of `analysis.clock_check.signs`
    site : its planes and what its file says of values
    """
    sun, roof = table.column("clock_sun_s"), table.column("clock_roof_s")
    by_sun = np.isfinite(sun)
    by_roof = np.isfinite(roof) & ~by_sun
    if by_sun.sum() < 0.25 * by_roof.sum():
        by_sun, by_roof = np.zeros_like(by_sun), np.isfinite(roof)
    told = np.flatnonzero(by_sun | by_roof)
    sensor = by_sun[told]
    basis: Basis = "sun sensor" if told.size and sensor.mean() >= 0.5 else "collector"
    if told.size < LEAST_DAYS[basis]:
        return None
    step_s = known_or_zero(table.column("clock_step_s")[told])
    late, doubt = _within_step(table, site)
    noise_s = np.where(
        sensor,
        _DAY_S["sun sensor"],
        np.hypot(table.column("clock_roof_noise_s")[told], _DAY_S["collector"]),
    )
    aside = eastward(site, arrays=1 if basis == "sun sensor" else None)
    stays_s = float(
        np.sqrt(
            _STAYS_S[basis] ** 2
            + (_STAYS_EAST_S[basis] * aside) ** 2
            + (doubt * median_of(step_s)) ** 2
        )
    )
    edges = table.days.edge_s
    return ClockDays(
        day=told,
        time_s=np.asarray(0.5 * (edges[:-1] + edges[1:])[told], dtype=np.float64),
        offset_s=one_way_round(np.where(sensor, sun[told], roof[told]) + late * step_s),
        noise_s=noise_s,
        stays_s=stays_s,
        basis=basis,
    )


def one_way_round(offset_s: Floats) -> Floats:
    """Give errors on one side of the clock: half a day ahead is half a day behind."""
    turn = 2.0 * np.pi / SECONDS_PER_DAY
    middle_s = np.arctan2(np.sin(turn * offset_s).mean(), np.cos(turn * offset_s).mean()) / turn
    if abs(middle_s) < 0.25 * SECONDS_PER_DAY:
        return offset_s
    half = 0.5 * SECONDS_PER_DAY
    return np.asarray(middle_s + (offset_s - middle_s + half) % SECONDS_PER_DAY - half)


def _within_step(table: DayTable, site: Site) -> tuple[float, float]:
    """Give where in its step a value lies after its middle, and the doubt, in steps."""
    kind = site.log.values or values_kind(table)
    if kind == "mean":
        return 0.0, 0.0
    if kind == "sample":
        return 0.5, 0.0
    return 0.25, 0.25 / np.sqrt(3.0)


def course_of(days: ClockDays) -> Course:
    """Find the plainest course that explains the days."""
    edges, cost = _pieces(days)
    pieces = _merged(days, edges)
    drift, drift_cost = _drift(days)
    if drift is not None and drift_cost + _PENALTY[days.basis] < cost:
        monthly = np.arange(days.time_s[0], days.time_s[-1] + SECONDS_PER_MONTH, SECONDS_PER_MONTH)
        cuts = np.searchsorted(days.time_s, monthly)
        shown = [days.part(slice(a, b)) for a, b in pairwise(cuts) if b > a]
        return Course(
            pieces=tuple(middle_of(one) for one in shown),
            drift=drift,
            basis=days.basis,
            days=len(days.day),
        )
    return Course(pieces=pieces, drift=None, basis=days.basis, days=len(days.day))


def stretches(days: ClockDays, *, length_days: int = 14) -> tuple[Piece, ...]:
    """Give the error stretch by stretch, for stretches in which three days say something."""
    number = days.day // length_days
    parts = [days.part(number == one) for one in np.unique(number)]
    return tuple(middle_of(one) for one in parts if len(one.day) >= 3)


def cost_of(days: ClockDays, off_s: Floats) -> Floats:
    """Give what courses cost that leave each day off by so much; days along the last axis."""
    return np.asarray(_cost(days, off_s).sum(axis=-1))


def _cost(days: ClockDays, off_s: Floats) -> Floats:
    """Give what each day costs where a course leaves it off by so much; days along the last."""
    # In one place: to come by new memory for each step takes longer than all of them.
    cost: Floats = np.abs(off_s)
    cost -= _FREE * days.stays_s
    np.maximum(cost, 0.0, out=cost)
    cost /= days.noise_s
    cost *= cost
    cost /= _TAIL
    np.log1p(cost, out=cost)
    cost *= 0.5 * (_TAIL + 1.0)
    return cost


def middles_of(days: ClockDays, offset_s: Floats) -> tuple[Floats, Floats]:
    """Give the weighted middle of each row of errors, far days counting little.

    Parameters
    ----------
    days : with the noise of each [s]
    offset_s : shape (k, n), k readings of the errors of the n days [s]

    Returns
    -------
    shape (k,), the middles [s]; and shape (k, n), how much each day counted
    """
    weight = days.noise_s**-2.0
    order = np.argsort(offset_s, axis=1)
    passed = np.cumsum(weight[order], axis=1)
    half = (passed < 0.5 * passed[:, -1:]).sum(axis=1)
    each = np.arange(len(offset_s))
    middle = offset_s[each, order[each, half]]
    for _ in range(_ROUNDS):
        counts = counts_of(weight, offset_s - middle[:, None])
        middle = (counts * offset_s).sum(axis=1) / counts.sum(axis=1)
    return middle, counts


def middle_of(days: ClockDays) -> Piece:
    """Give the weighted middle of days, far ones counting little, as one piece."""
    weight = days.noise_s**-2.0
    (middle,), (counts,) = middles_of(days, days.offset_s[None])
    scatter = (counts * weight * (days.offset_s - middle) ** 2).sum() / counts.sum()
    noise_s = np.sqrt(max(2.0 * scatter, 1.0) / counts.sum())
    return Piece(
        start_s=float(days.time_s[0]),
        end_s=float(days.time_s[-1]),
        offset_s=float(middle),
        u_s=float(np.hypot(noise_s, days.stays_s)),
        days=len(days.day),
    )


def _pieces(days: ClockDays) -> tuple[list[int], float]:
    """Give where pieces begin, and what the best cut into pieces costs.

    Each piece is as cheap as the best of many levels makes it; a piece more costs the penalty.
    """
    count = len(days.day)
    places = np.linspace(0.0, count - 1.0, _LEVELS)
    levels = np.interp(places, np.arange(count), np.sort(days.offset_s))
    each = _cost(days, days.offset_s - levels[:, None])
    every = max(1, -(-count // _MOST_EDGES))
    least = min(_LEAST_PIECE, count)
    edges = np.append(np.arange(0, count - least + 1, every), count)
    # A piece that ends at an edge begins at one of the first so many.
    begins = np.searchsorted(edges, edges - least, side="right")
    fresh = np.where(edges > 0, _PENALTY[days.basis], 0.0)
    summed, best = np.empty((len(edges), _LEVELS)), np.empty(len(edges))
    cheapest_cuts(given(each.T), given(edges), given(begins), given(fresh), summed, best)
    return _cuts(edges, summed, best + fresh, begins), float(best[-1])


def _cuts(edges: Ints, summed: Floats, begun: Floats, begins: Ints) -> list[int]:
    """Give where the pieces of the best cut begin, followed back from its end."""
    starts, here = [], len(edges) - 1
    while here > 0:
        tried = slice(begins[here])
        here = int((begun[tried] + (summed[here] - summed[tried]).min(axis=1)).argmin())
        starts.append(int(edges[here]))
    return starts[::-1]


def _merged(days: ClockDays, starts: list[int]) -> tuple[Piece, ...]:
    """Join neighbours that differ by less than seasons and noise may make them."""
    cuts = [*starts, len(days.day)]
    while True:
        pieces = [middle_of(days.part(slice(a, b))) for a, b in pairwise(cuts)]
        steps = [abs(later.offset_s - one.offset_s) for one, later in pairwise(pieces)]
        if not steps or min(steps) >= _LEAST_STEP_S[days.basis]:
            return tuple(pieces)
        del cuts[int(np.argmin(steps)) + 1]


def _drift(days: ClockDays) -> tuple[Drift | None, float]:
    """Give the best drift from some day on, and what it costs."""
    span_s = days.time_s[-1] - days.time_s[0]
    least_s = SECONDS_PER_MONTH
    if span_s < least_s or len(days.day) < 2 * _LEAST_PIECE:
        return None, np.inf
    since_s = np.linspace(days.time_s[0], days.time_s[-1] - least_s, _HINGES)
    late = np.maximum(days.time_s[:, None] - since_s, 0.0) / SECONDS_PER_MONTH
    level, slope, room, square = fitted = np.empty((4, _HINGES))
    weight, sums = days.noise_s**-2.0, np.empty((5, _HINGES))
    fit_bent(given(days.offset_s), given(weight), given(late), _ROUNDS, sums, fitted)
    costs = cost_of(days, days.offset_s - level[:, None] - slope[:, None] * late.T)
    best = int(np.argmin(costs))
    scatter, months = max(2.0 * square[best], 1.0), late[-1, best]
    # What seasons do to the ends of the drift stays.
    u_s = float(np.hypot(np.sqrt(scatter * room[best]), days.stays_s / months))
    per_month_s = float(slope[best])
    sure = abs(per_month_s) > _COVER_95 * u_s
    if abs(per_month_s) * months < _LEAST_STEP_S[days.basis] or not sure:
        return None, np.inf
    drift = Drift(
        since_s=float(since_s[best]),
        offset_s=float(level[best]),
        per_month_s=per_month_s,
        u_per_month_s=u_s,
    )
    return drift, float(costs[best])
