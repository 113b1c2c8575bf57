"""A day's rows as five-minute means, with the lowest and highest value of each hour beside.

The heat of a stretch is the mean of a product, which means cannot give back: what a day showed is
worked out before its rows are rolled up, and stands. Extremes by the hour keep every peak and take
a third of the room that those of each stretch would.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.blocks import MOST_DECIMALS, Block
from analysis.channels import channel
from analysis.record import Floats, Ints, steps_s
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

STRETCH_S = 300
_HOUR_S = int(SECONDS_PER_HOUR)
_DAY_S = int(SECONDS_PER_DAY)

Stamp = Literal["end", "start"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RolledUp:
    """Rows of one UTC day, rolled up.

    Attributes
    ----------
    means : every channel; of a counter or a figure of a day the last value, else the mean, with as
        many decimals as the rows had
    lows, highs : by hours, each stamped like its last stretch (its first, where stamps mark the
        start); the channels whose values differ within some hour
    """

    means: Block
    lows: Block
    highs: Block


def roll_up(rows: Block, *, stamp: Stamp) -> RolledUp:
    """Roll a day's rows up.

    A stretch is stamped by its last row (its first, where stamps mark the start), so that the
    stretches are as long together as the rows were.

    Parameters
    ----------
    rows : at least one row, of one UTC day
    stamp : which end of its step a stamp marks
    """
    edges = _edges(rows.stamp_s, STRETCH_S, stamp)
    hours = _edges(rows.stamp_s, _HOUR_S, stamp)
    weights = steps_s(rows.stamp_s, stamp=stamp)
    means: dict[str, Floats] = {}
    lows: dict[str, Floats] = {}
    highs: dict[str, Floats] = {}
    for name, values in rows.columns.items():
        found = channel(name)
        if found is not None and (found.counter or found.daily):
            means[name] = _last(values, edges)
            continue
        means[name] = np.round(_means(values, weights, edges), _decimals(values))
        low, high = np.fmin.reduceat(values, hours), np.fmax.reduceat(values, hours)
        if bool((low < high).any()):
            lows[name], highs[name] = low, high
    by_hour = _labels(rows.stamp_s, hours, stamp)
    return RolledUp(
        means=Block(stamp_s=_labels(rows.stamp_s, edges, stamp), columns=means),
        lows=Block(stamp_s=by_hour, columns=lows),
        highs=Block(stamp_s=by_hour, columns=highs),
    )


def spread(rolled: RolledUp, *, stamp: Stamp) -> Block:
    """Give two rows for each stretch, so that a plot shows each hour's lowest and highest value.

    They stand at the stretch with the lowest and the highest mean of their hour; elsewhere both
    rows are the mean. A stretch too short to be halved has one.
    """
    labels = rolled.means.stamp_s
    day_s = labels[0] // _DAY_S * _DAY_S
    if stamp == "end":
        length = np.diff(labels, prepend=day_s)
    else:
        length = np.diff(labels, append=day_s + _DAY_S)
    half = np.minimum(length, STRETCH_S) // 2
    halved = half > 0
    between = (labels - half if stamp == "end" else labels + half)[halved]
    stamp_s = np.concatenate([labels, between])
    order = np.argsort(stamp_s)
    hours = _edges(labels, _HOUR_S, stamp)
    columns: dict[str, Floats] = {}
    for name, means in rolled.means.columns.items():
        low, high = means.copy(), means.copy()
        if name in rolled.lows.columns:
            at_low = _first_of(means, np.fmin.reduceat(means, hours), hours)
            at_high = _first_of(means, np.fmax.reduceat(means, hours), hours)
            known = at_low >= 0
            low[at_low[known]] = rolled.lows.columns[name][known]
            high[at_high[known]] = rolled.highs.columns[name][known]
        earlier, later = (low, high) if stamp == "end" else (high, low)
        columns[name] = np.concatenate([np.where(halved, later, high), earlier[halved]])[order]
    return Block(stamp_s=stamp_s[order], columns=columns)


def _edges(stamp_s: Ints, length_s: int, stamp: Stamp) -> NDArray[np.intp]:
    """Give where the stretches of a length begin among rows."""
    number = stamp_s // length_s if stamp == "start" else -(-stamp_s // length_s)
    return np.flatnonzero(np.diff(number, prepend=number[0] - 1))


def _labels(stamp_s: Ints, edges: NDArray[np.intp], stamp: Stamp) -> Ints:
    return stamp_s[edges if stamp == "start" else np.append(edges[1:], stamp_s.shape[0]) - 1]


def _first_of(values: Floats, wanted: Floats, edges: NDArray[np.intp]) -> NDArray[np.intp]:
    """Give where each stretch first has its wanted value; −1 where that is NaN."""
    rows = np.diff([*edges.tolist(), values.shape[0]])
    place = np.repeat(np.arange(edges.shape[0]), rows)
    found = np.flatnonzero(values == wanted[place])
    out = np.full(edges.shape[0], -1, dtype=np.intp)
    out[place[found[::-1]]] = found[::-1]  # the earliest of a stretch is written last
    return out


def _decimals(values: Floats) -> int:
    """Give with how many decimals the values are written."""
    known = values[np.isfinite(values)]
    return next(
        (count for count in range(MOST_DECIMALS) if bool((np.round(known, count) == known).all())),
        MOST_DECIMALS,
    )


def _means(values: Floats, weights: Floats, edges: NDArray[np.intp]) -> Floats:
    """Give each stretch's mean over the time that has a value; NaN where none has."""
    known = np.isfinite(values)
    over = np.add.reduceat(np.where(known, weights, 0.0), edges)
    sums = np.add.reduceat(np.where(known, values * weights, 0.0), edges)
    means = np.full(edges.shape[0], np.nan)
    np.divide(sums, over, out=means, where=over > 0)
    return means


def _last(values: Floats, edges: NDArray[np.intp]) -> Floats:
    """Give each stretch's last value; NaN where none has."""
    rows = np.diff([*edges.tolist(), values.shape[0]])
    place = np.repeat(np.arange(edges.shape[0]), rows)
    known = np.isfinite(values)
    out = np.full(edges.shape[0], np.nan)
    out[place[known]] = values[known]  # the latest of a stretch is written last
    return out
