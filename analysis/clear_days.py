"""Clear days proven by the data: the plant's level under a clear sky, and when it fell.

Where nobody measures the sun, a day's heat tells nothing by itself. But the best smooth stretch of
a day (`analysis.clear_sky`) is either clear or evenly dull, and the upper edge of many such days is
the clear sky. When that edge falls to a part of what it was, the plant has changed, not the
weather: even a dull summer holds a few clear mornings.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.days import DayTable
from analysis.energy import delivered
from analysis.record import Floats
from analysis.results import Bounded, ClearSeason
from analysis.uncertainty import COVERAGE_95

Days = NDArray[np.int64]

# The upper edge of a set of proven days: this share of them lies below it.
EDGE_FRAC = 0.75
# Standard uncertainty of what a clear sky brings: turbidity, the model of the sky, its split, the
# collector's certificate (engineering judgement; invented plants lay within 6 %).
CLEAR_U_FRAC = 0.10
# From here on a season's clear days say something, and from here on they say it firmly.
FEW_DAYS, MANY_DAYS = 4, 12

_SEASONS = ("winter", "spring", "summer", "autumn")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Level:
    """The plant's level on its proven days.

    Attributes
    ----------
    place : shape (m,), rows of the table with a smooth stretch
    ratio : shape (m,), heat that came over heat under a clear sky
    reach_frac : 95 % reach of delivered heat, as a share of it; the same all year
    """

    place: Days
    ratio: Floats
    reach_frac: float


def level_of(table: DayTable) -> Level:
    """Pick the proven days of a table; none where the sun is measured."""
    ratio = table.column("clear_ratio")
    place = np.flatnonzero(np.isfinite(ratio)).astype(np.int64)
    heat = delivered(table, place) if len(place) else None
    reach = 0.0
    if heat is not None and heat.value > 0.0:
        reach = (heat.high - heat.value) / heat.value
    return Level(place=place, ratio=ratio[place], reach_frac=reach)


def edge_of(ratio: Floats) -> float:
    """Give the upper edge of proven days [-]."""
    return float(np.quantile(ratio, EDGE_FRAC))


def against_sky(level: Level, ratio: Floats) -> Bounded:
    """Give the edge with its 95 % interval against the clear sky itself [-].

    Errors of the heat figure and of the clear sky are independent; neither shrinks with more days.
    """
    edge = edge_of(ratio)
    reach = edge * float(np.hypot(level.reach_frac, COVERAGE_95 * CLEAR_U_FRAC))
    return Bounded(value=edge, low=max(edge - reach, 0.0), high=edge + reach)


def seasons_of(table: DayTable) -> tuple[ClearSeason, ...]:
    """Give each season's clear days: how many, their level, and how much that says."""
    level = level_of(table)
    names = [_season(table.days.dates[place]) for place in level.place.tolist()]
    found = []
    for name in dict.fromkeys(names):
        ratio = level.ratio[np.array([one == name for one in names])]
        clear = ratio[ratio >= 0.8 * edge_of(ratio)]
        found.append(
            ClearSeason(
                season=name,
                days=len(clear),
                level=against_sky(level, ratio) if len(ratio) >= FEW_DAYS else None,
                basis=_strength(len(clear), level.reach_frac),
            )
        )
    return tuple(found)


def _season(date: str) -> str:
    year, month = int(date[:4]), int(date[5:7])
    # A winter is named after the year it ends in.
    return f"{_SEASONS[month % 12 // 3]} {year + (month == 12)}"


def _strength(days: int, reach_frac: float) -> str:
    if days < FEW_DAYS:
        return "too few clear days"
    if reach_frac > 0.3:
        return "weak: heat is only estimated"
    return "fair" if days >= MANY_DAYS else "weak: few clear days"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fall:
    """A stretch of proven days far below the plant's level.

    `first`, `last` are rows of the table, `last` included; `over` tells that the plant came back.
    `level` is the edge then, `sound` the edge it is held against; `own` tells whether that is the
    plant's own earlier one or the clear sky itself.
    """

    first: int
    last: int
    over: bool
    level: float
    sound: float
    own: bool


# A fall is this many proven days in a row below `_BELOW` of the sound edge, over at least `_SPAN`
# days, whose best ones reach no more than `_EDGE` of it and agree with each other: a dull spell
# scatters, a weak plant does not (tuned on invented plants, see `tests.bench.clear_days`).
_BELOW, _EDGE = 0.70, 0.60
_RUN_DAYS, _SPAN_DAYS = 8, 14
_BEST, _AGREE_FRAC, _AGREE_DAYS = 3, 0.88, 5
# So many sound proven days make the plant's own edge; before that the sky must do, with all its
# uncertainty.
_OWN_DAYS = 8
_SKY_AT_MOST = 0.75


def falls_of(level: Level) -> tuple[Fall, ...]:
    """Find the stretches in which the plant's level under a clear sky was far too low."""
    falls: list[Fall] = []
    sound: list[float] = []
    run: list[int] = []
    lasting: Fall | None = None
    for number, ratio in enumerate(level.ratio.tolist()):
        own = len(sound) >= _OWN_DAYS
        edge = edge_of(np.array(sound)) if own else 1.0
        if ratio < _BELOW * edge:
            run.append(number)
            if lasting is not None or _fell(level, run, edge, own):
                lasting = _fall(level, run, edge, own)
            continue
        if lasting is not None:
            falls.append(replace(lasting, over=True))
        else:
            # Low days among sound ones were dull, and belong to the plant's usual spread.
            sound += level.ratio[run].tolist()
        sound.append(ratio)
        run, lasting = [], None
    return (*falls, lasting) if lasting is not None else tuple(falls)


def _fell(level: Level, run: list[int], edge: float, own: bool) -> bool:
    ratio = level.ratio[run]
    span = level.place[run[-1]] - level.place[run[0]]
    if len(run) < _RUN_DAYS or span < _SPAN_DAYS:
        return False
    best = float(np.sort(ratio)[-_BEST:].mean())
    agree = int((ratio >= _AGREE_FRAC * best).sum()) >= _AGREE_DAYS
    surely = own or against_sky(level, ratio).high < _SKY_AT_MOST
    return best < _EDGE * edge and agree and surely


def _fall(level: Level, run: list[int], edge: float, own: bool) -> Fall:
    ratio = level.ratio[run]
    return Fall(
        first=int(level.place[run[0]]),
        last=int(level.place[run[-1]]),
        over=False,
        level=float(np.sort(ratio)[-_BEST:].mean()),
        sound=edge,
        own=own,
    )
