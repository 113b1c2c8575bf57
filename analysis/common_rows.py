"""Samples that were never taken at one moment are brought to common rows.

Two loggers of one plant, or a table that holds one sensor at a time, stamp their samples apart:
no row then holds both a flow and the temperatures that it carries. Within each UTC day, as a store
keeps them, the channel with most samples gives the rows. A channel that stands on few of them
although it was sampled all the while lends each row its sample nearest in time; a counter that
stands between two readings is spread evenly over the time between. Nothing is brought across a
gap, no row is made, and rows that hold anything else stay as they are.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.channels import channel, is_daily
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# A distance between two samples beyond this many usual steps is a gap.
GAP_IN_STEPS = 1.5
_DAY_S = int(SECONDS_PER_DAY)
_HOUR_S = int(SECONDS_PER_HOUR)
# Engineering judgement: fewer samples have no step; at least so much of a channel's steps are
# ordinary where a logger writes it; channels that share most of their rows were sampled together;
# one was sampled apart if so much of its time would be brought.
_FEWEST = 3
_ORDINARY_FRAC = 0.8
_TOGETHER_FRAC = 0.6
_APART_FRAC = 0.1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CommonRows:
    """Rows that all channels share.

    Attributes
    ----------
    stamp_s : shape (n,), strictly rising stamps [s]
    columns : channel to values of shape (n,)
    away_s : channel to how far from its row each value was sampled, shape (n,); NaN where it stood
        there. Only channels with at least one that was brought [s]
    """

    stamp_s: Ints
    columns: Mapping[str, Floats]
    away_s: Mapping[str, Floats]


def on_common_rows(stamp_s: Ints, columns: Mapping[str, Floats]) -> CommonRows:
    """Bring channels that were sampled apart to common rows; others are passed through uncopied.

    Parameters
    ----------
    stamp_s : shape (n,), strictly rising stamps [s]
    columns : channel, or any other name, to values of shape (n,); NaN missing

    Returns
    -------
    CommonRows
        What a day gives depends on its rows and on those of one hour around it.
    """
    alike = CommonRows(stamp_s=stamp_s, columns=columns, away_s={})
    names = sorted(name for name in columns if not is_daily(name))
    if len(names) < 2 or len(stamp_s) < 2 * _FEWEST:
        return alike
    edges = day_edges(stamp_s)
    held = {name: np.isfinite(columns[name]) for name in names}
    rows = np.diff(edges)
    counts = np.array(
        [rows if own.all() else np.add.reduceat(own, edges[:-1]) for own in held.values()],
        dtype=np.int64,
    )
    # Where one channel has every row, and none has but few of them, there is nothing to do.
    apart = (counts.max(axis=0) < rows) | (
        (counts >= _FEWEST) & (counts < _TOGETHER_FRAC * rows)
    ).any(axis=0)
    if not apart.any():
        return alike
    stays = np.ones(len(stamp_s), dtype=np.bool_)
    brought: dict[str, tuple[Floats, Floats]] = {}
    for number in np.flatnonzero(apart).tolist():
        first, last = edges[number], edges[number + 1]
        _bring(stamp_s, columns, held, first, last, stays=stays, brought=brought)
    if not brought:
        return alike
    found = {name: brought[name][0] if name in brought else columns[name] for name in columns}
    return CommonRows(
        stamp_s=stamp_s[stays],
        columns={name: values[stays] for name, values in found.items()},
        away_s={name: away_s[stays] for name, (_, away_s) in brought.items()},
    )


def day_edges(stamp_s: Ints) -> list[int]:
    """Give the row that each UTC day with rows begins at, and the number of rows.

    Parameters
    ----------
    stamp_s : shape (n,), at least one, strictly rising [s]
    """
    midnights = np.arange(stamp_s[0] // _DAY_S, stamp_s[-1] // _DAY_S + 2) * _DAY_S
    found: list[int] = np.unique(np.searchsorted(stamp_s, midnights)).tolist()
    return found


def _bring(
    stamp_s: Ints,
    columns: Mapping[str, Floats],
    held: Mapping[str, Bools],
    first: int,
    last: int,
    *,
    stays: Bools,
    brought: dict[str, tuple[Floats, Floats]],
) -> None:
    """Bring the channels of one day together, filling `brought` and clearing rows of `stays`."""
    times = stamp_s[first:last]
    present = {name: own[first:last] for name, own in held.items()}
    steps = {
        name: step_s for name, own in present.items() if (step_s := _step_s(times[own])) is not None
    }
    if len(steps) < 2:
        return
    most = max(steps, key=lambda name: (int(present[name].sum()), _company(present, name), name))
    axis = present[most].copy()
    for own in present.values():
        shared = int((own & present[most]).sum())
        if shared >= _TOGETHER_FRAC * max(int(own.sum()), int(present[most].sum())):
            axis |= own
    rows_s = times[axis]
    low, high = np.searchsorted(stamp_s, [times[0] - _HOUR_S, times[-1] + _HOUR_S]).tolist()
    moved = []
    for name in steps:
        if name == most:
            continue
        there = held[name][low:high]
        away_s, near = _near(rows_s, stamp_s[low:high][there], steps[name])
        missing = ~present[name][axis]
        filled = near & missing
        if filled.sum() <= _APART_FRAC * (near | ~missing).sum():
            continue
        own_s, values = stamp_s[low:high][there], columns[name][low:high][there]
        known = channel(name)
        counter = known is not None and known.counter
        given = (_spread if counter else _nearest)(rows_s, own_s, values)
        new, far_s = brought.setdefault(name, (columns[name].copy(), np.full(len(stamp_s), np.nan)))
        at = first + np.flatnonzero(axis)[filled]
        new[at] = given[filled]
        far_s[at] = away_s[filled]
        moved.append(name)
    if not moved:
        return
    others = ~axis
    for name, own in present.items():
        if name not in moved:
            others &= ~own
    lone = first + np.flatnonzero(others)
    _, near = _near(stamp_s[lone], rows_s, steps[most])
    stays[lone[near]] = False


def _step_s(times: Ints) -> float | None:
    """Give the usual step of a channel's samples [s]; None where they have none."""
    if len(times) < _FEWEST:
        return None
    steps = np.diff(times)
    usual = float(np.median(steps))
    ordinary = (steps <= GAP_IN_STEPS * usual).mean()
    return usual if usual <= _HOUR_S and ordinary >= _ORDINARY_FRAC else None


def _company(present: Mapping[str, Bools], name: str) -> int:
    """Count the channels that stand on most rows of this one."""
    own = present[name]
    return sum(
        int((own & other).sum()) > _TOGETHER_FRAC * int(own.sum()) for other in present.values()
    )


def _near(rows_s: Ints, own_s: Ints, step_s: float) -> tuple[Floats, Bools]:
    """Give how far each row is from the nearest sample, and whether no gap lies between [s]."""
    after = np.searchsorted(own_s, rows_s)
    to_next = np.where(
        after < len(own_s), own_s[np.minimum(after, len(own_s) - 1)] - rows_s, np.inf
    )
    to_last = np.where(after > 0, rows_s - own_s[np.maximum(after - 1, 0)], np.inf)
    away_s = np.minimum(to_next, to_last)
    return away_s, (away_s <= step_s / 2.0) | (to_next + to_last <= GAP_IN_STEPS * step_s)


def _nearest(rows_s: Ints, own_s: Ints, values: Floats) -> Floats:
    after = np.searchsorted(own_s, rows_s)
    later, earlier = np.minimum(after, len(own_s) - 1), np.maximum(after - 1, 0)
    nearer = np.abs(own_s[later] - rows_s) < np.abs(rows_s - own_s[earlier])
    return np.asarray(values[np.where(nearer, later, earlier)])


def _spread(rows_s: Ints, own_s: Ints, values: Floats) -> Floats:
    """Give a counter between two readings, where it rises; else the nearest reading."""
    after = np.clip(np.searchsorted(own_s, rows_s), 1, len(own_s) - 1)
    rises = (values[after] >= values[after - 1]) & (rows_s <= own_s[-1]) & (rows_s >= own_s[0])
    between = np.interp(rows_s, own_s, values)
    return np.where(rises, between, _nearest(rows_s, own_s, values))
