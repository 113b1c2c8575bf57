"""One day of several files as one block: what a later file takes over, and what stays beneath.

Pure. Each file is a layer, in the order in which the files were handed in. A layer that says the
same as what lies beneath it, or fills its gaps, is united with it. One that says something else
is a corrected log: it replaces the span that its rows cover, in its own columns, and nothing in
its gaps. Taking a layer away again gives what was there before, because what lies beneath is
kept as it came.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analysis.blocks import Block, join, merge, part_of
from analysis.common_rows import GAP_IN_STEPS
from analysis.record import Bools, Floats, Ints
from analysis.units import SECONDS_PER_DAY

# Units are converted when read, and one export writes a decimal less than another: values this
# near say the same (engineering judgement).
_SAME = 1e-3
_LONE_STEP_S = 60.0
# Layers are laid by UTC day, as a store keeps them.
_DAY_S = int(SECONDS_PER_DAY)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layer:
    """What one file says of a day.

    Attributes
    ----------
    number : place in that order; what a store held before it kept layers has 0
    block : its rows
    pushed : rows of a gateway, which come in pieces and never replace a span
    """

    number: int
    block: Block
    pushed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Folded:
    """A day in force, and of each layer how many of its rows each later one replaced."""

    block: Block
    replaced: Mapping[int, Mapping[int, int]]


def fold(layers: Sequence[Layer]) -> Folded:
    """Lay the layers of a day over one another, the lowest number first.

    The result depends on the layers alone, not on the order in which they were read.
    """
    ordered = sorted(layers, key=lambda layer: layer.number)
    block = ordered[0].block
    replaced: dict[int, dict[int, int]] = {layer.number: {} for layer in ordered}
    for place, layer in enumerate(ordered[1:], start=1):
        columns = () if layer.pushed else _contested(block, layer.block)
        if columns:
            for below in ordered[:place]:
                shared = [name for name in columns if name in below.block.columns]
                gone = _covered(below.block.stamp_s, by=layer.block.stamp_s)
                count = int((gone & _valued(below.block, shared)).sum())
                if count:
                    replaced[below.number][layer.number] = count
            block = _without(block, columns, _covered(block.stamp_s, by=layer.block.stamp_s))
        block = merge(block, layer.block)
    return Folded(block=block, replaced=replaced)


def laid(files: Sequence[Block]) -> Block:
    """Lay files over one another day by day, the first beneath.

    Parameters
    ----------
    files : at least one, in the order in which they were given

    Returns
    -------
    Block
        What all of them give together: the same as a store that they were handed in to one by one.
    """
    if len(files) == 1:
        return files[0]
    days = [block.stamp_s // _DAY_S for block in files]
    every, count = np.unique(np.concatenate([np.unique(own) for own in days]), return_counts=True)
    shared = every[count > 1]
    parts = [
        part
        for block, own in zip(files, days, strict=True)
        for part in _runs(block, own, np.isin(own, shared))
    ]
    for day in shared.tolist():
        layers = []
        for number, (block, own) in enumerate(zip(files, days, strict=True)):
            first, last = np.searchsorted(own, [day, day + 1]).tolist()
            if first < last:
                layers.append(Layer(number=number, block=part_of(block, first, last)))
        parts.append(fold(layers).block)
    parts = [part for part in parts if len(part)]
    parts.sort(key=lambda part: int(part.stamp_s[0]))
    return join(parts) or files[0]


def _runs(block: Block, day: Ints, shared: Bools) -> Iterator[Block]:
    """Give the stretches of neighbouring days that no other file touches."""
    new = np.diff(day) > 1
    edges = np.flatnonzero(new | np.diff(shared.astype(np.int8)).astype(np.bool_)) + 1
    for first, last in pairwise([0, *edges.tolist(), len(block)]):
        if first < last and not shared[first]:
            yield part_of(block, first, last)


def _contested(below: Block, above: Block) -> tuple[str, ...]:
    """Give the columns that a corrected log takes over; none where the two agree."""
    shared = tuple(
        name
        for name, values in above.columns.items()
        if name in below.columns and not bool(np.isnan(values).all())
    )
    if not shared:
        return ()
    _, at_below, at_above = np.intersect1d(
        below.stamp_s, above.stamp_s, assume_unique=True, return_indices=True
    )
    for name in shared:
        old, new = below.columns[name][at_below], above.columns[name][at_above]
        if bool((np.abs(old - new) > _SAME).any()):  # NaN is never more
            return shared
    return shared if _interleaved(below, above, shared, common=len(at_below)) else ()


def _interleaved(below: Block, above: Block, shared: Sequence[str], *, common: int) -> bool:
    """Tell whether the same values stand on other stamps: a clock that was put right."""
    inside = _covered(below.stamp_s, by=above.stamp_s) & _valued(below, shared)
    outside = _covered(above.stamp_s, by=below.stamp_s) & _valued(above, shared)
    both = min(int(inside.sum()), int(outside.sum()))
    return both > 0 and 2 * common < both


def _covered(stamp_s: Ints, *, by: Ints) -> Bools:
    """Tell which stamps lie where rows `by` stand, their gaps left out."""
    step_s = float(np.median(np.diff(by))) if by.shape[0] > 1 else _LONE_STEP_S
    after = np.searchsorted(by, stamp_s, side="left")
    before = np.searchsorted(by, stamp_s, side="right") - 1
    last = by.shape[0] - 1
    to_next = np.where(after <= last, by[np.minimum(after, last)] - stamp_s, np.inf)
    to_last = np.where(before >= 0, stamp_s - by[np.maximum(before, 0)], np.inf)
    between = to_next + to_last <= GAP_IN_STEPS * step_s
    return between | (np.minimum(to_next, to_last) < step_s)


def _valued(block: Block, columns: Sequence[str]) -> Bools:
    """Tell which rows hold a value in one of these columns."""
    held = np.zeros(len(block), dtype=np.bool_)
    for name in columns:
        held |= ~np.isnan(block.columns[name])
    return held


def _without(block: Block, columns: Sequence[str], where: Bools) -> Block:
    """Take values away, and the rows that are left with none."""
    taken: dict[str, Floats] = {
        name: np.where(where, np.nan, values) if name in columns else values
        for name, values in block.columns.items()
    }
    bare = Block(stamp_s=block.stamp_s, columns=taken)
    stays = ~where | _valued(bare, tuple(taken))
    return Block(
        stamp_s=block.stamp_s[stays],
        columns={name: values[stays] for name, values in taken.items()},
    )
