"""Groups of columns side by side, each with stamps of its own.

Two loggers exported into one table, or sensors each with the time at which it was read: a value
belongs to the stamp of its own group, not to the first of its row.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from analysis.logs.timecolumns import StampColumns

_QUARTER_S = 900
# Engineering judgement: a stamp that stands still in more rows than this is no time of a reading
# (the last alarm, the start of the pump).
_FEWEST_STAMPS = 3
_MOVING_FRAC = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class StampGroup:
    """Columns of values, by their places, and the stamp that they belong to."""

    stamp: StampColumns
    places: frozenset[int]


def groups_of(
    first: StampColumns,
    others: Sequence[StampColumns],
    read: Sequence[Sequence[int | None]],
    values: Sequence[int],
) -> tuple[StampGroup, ...]:
    """Tell which stamp each column of values belongs to.

    A stamp stands before its columns, or behind them where a table ends with one and does not
    begin with one. Of stamps without values between them the first found counts.

    Parameters
    ----------
    first : StampColumns
        The stamp found first.
    others : sequence of StampColumns
        Further ones.
    read : sequence of sequence of int or None
        For the first and each of the others the stamps of the sample rows, None where empty [s].
    values : sequence of int
        Places of the columns that hold no stamp.

    Returns
    -------
    tuple of StampGroup
        The group of the first stamp first; empty where one stamp holds for the whole row.
    """
    stamps = [
        first,
        *(one for one, own in zip(others, read[1:], strict=True) if _apart(read[0], own)),
    ]
    if len(stamps) < 2 or not values:
        return ()
    behind = max(one.places[-1] for one in stamps) > max(values) and (
        min(one.places[0] for one in stamps) > min(values)
    )
    ordered = sorted(stamps, key=lambda one: one.places[0], reverse=behind)
    clusters: list[tuple[list[StampColumns], set[int]]] = []
    for number, stamp in enumerate(ordered):
        follows = ordered[number + 1].places[0] if number + 1 < len(ordered) else None
        own = {
            place
            for place in values
            if _within(place, stamp.places[0], follows, behind=behind)
            or (not number and _before(place, stamp, behind=behind))
        }
        if clusters and not clusters[-1][1]:
            clusters[-1][0].append(stamp)
            clusters[-1][1].update(own)
        else:
            clusters.append(([stamp], own))
    groups = [
        StampGroup(stamp=first if first in cluster else cluster[0], places=frozenset(own))
        for cluster, own in clusters
        if own
    ]
    groups.sort(key=lambda one: (one.stamp is not first, one.stamp.places))
    return tuple(groups) if len(groups) > 1 else ()


def _within(place: int, stamp: int, follows: int | None, *, behind: bool) -> bool:
    if behind:
        return place < stamp and (follows is None or place > follows)
    return place > stamp and (follows is None or place < follows)


def _before(place: int, stamp: StampColumns, *, behind: bool) -> bool:
    """Whether a column stands outside of all groups, as a number of the row before the first."""
    return place > stamp.places[-1] if behind else place < stamp.places[0]


def _apart(first: Sequence[int | None], own: Sequence[int | None]) -> bool:
    """Tell whether stamps are those of readings, and not the first in another zone."""
    held = [one for one in own if one is not None]
    if len(set(held)) < max(_FEWEST_STAMPS, _MOVING_FRAC * len(held)):
        return False
    if len({two > one for one, two in pairwise(held) if one != two}) > 1:
        return False
    off = {
        two - one
        for one, two in zip(first, own, strict=True)
        if one is not None and two is not None
    }
    return not (len(off) == 1 and next(iter(off)) % _QUARTER_S == 0)
