"""What a day becomes when a layer is added to it. Pure: no database here."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

import numpy as np

from analysis.blocks import Block, merge
from analysis.days import local_date
from analysis.layers import Layer, fold
from analysis.record import of_days_alone, steps_s
from service.ingest.blocks import Change, change

# The analysis of a day also looks at its neighbours (`analysis.assess.MARGIN_DAYS`).
NEIGHBOUR_DAYS = 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeldDay:
    """A day as it is stored: the rows in force, and the layers that give them."""

    block: Block
    layers: tuple[Layer, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LaidDay:
    """A day as it becomes.

    Attributes
    ----------
    block : the rows in force, None where nothing is said of the day any more
    layers : the layers that give them
    replaced : of each layer, how many of its rows each later one replaced
    change : what is different from before
    """

    block: Block | None
    layers: tuple[Layer, ...]
    replaced: Mapping[int, Mapping[int, int]]
    change: Change

    @property
    def differs(self) -> bool:
        """Whether the rows in force are others than before."""
        return bool(self.change.touched_s.shape[0]) or self.change.columns


def with_layer(held: HeldDay | None, layer: Layer) -> list[Layer]:
    """Add a layer, or rows to the one that the upload has already."""
    known = () if held is None else held.layers
    own = [one for one in known if one.number == layer.number]
    if own:
        layer = replace(layer, block=merge(own[0].block, layer.block))
    others = [one for one in known if one.number != layer.number]
    return sorted([*others, layer], key=lambda one: one.number)


def laid(held: HeldDay | None, layers: Sequence[Layer]) -> LaidDay:
    """Lay these layers in place of those that a day had."""
    before = None if held is None else held.block
    if not layers:
        return LaidDay(block=None, layers=(), replaced={}, change=change(before, None))
    folded = fold(layers)
    return LaidDay(
        block=folded.block,
        layers=tuple(layers),
        replaced=folded.replaced,
        change=change(before, folded.block),
    )


def restamped(
    rows: Block, stamp: Literal["end", "start"], *, stored: Literal["end", "start"]
) -> Block:
    """Give rows with stamps at the end of the step that stored rows use."""
    if stored == stamp:
        return rows
    steps = np.zeros(len(rows), dtype=np.int64)
    samples = ~of_days_alone(rows.columns, len(rows))  # a day's figure stays at its noon
    steps[samples] = np.rint(steps_s(rows.stamp_s[samples], stamp=stamp)).astype(np.int64)
    shifted = rows.stamp_s + steps if stored == "end" else rows.stamp_s - steps
    # Where the step changes, two shifted stamps can meet; the first is kept.
    shifted, first = np.unique(shifted, return_index=True)
    return Block(
        stamp_s=shifted, columns={name: values[first] for name, values in rows.columns.items()}
    )


def local_days(touched_s: np.ndarray, *, timezone: str) -> set[date]:
    """Give the local days of rows and their neighbours; a step may begin up to an hour earlier."""
    first = local_date(int(touched_s[0]) - 3600, timezone) - timedelta(days=NEIGHBOUR_DAYS)
    last = local_date(int(touched_s[-1]) + 3600, timezone) + timedelta(days=NEIGHBOUR_DAYS)
    return {first + timedelta(days=number) for number in range((last - first).days + 1)}
