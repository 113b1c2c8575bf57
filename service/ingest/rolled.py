"""Rolled-up days in the store: their bytes, and back. Pure: no database here.

Lowest and highest values of the hours are one block, whose columns bear the end that they are in
front of the channel: two blocks would take their heads twice, which is a third of them.
"""

from typing import Literal

import numpy as np

from analysis.blocks import Block
from analysis.rollup import RolledUp, roll_up
from service.ingest.blocks import decode, encode

_LOW, _HIGH = "low ", "high "
_NOTHING = Block(stamp_s=np.zeros(0, dtype=np.int64), columns={})


def rolled_bytes(data: bytes, *, stamp: Literal["end", "start"]) -> tuple[bytes, bytes, int]:
    """Roll a block's bytes up: means, extremes, and how many rows the means are."""
    rolled = roll_up(decode(data), stamp=stamp)
    columns = {f"{_LOW}{name}": values for name, values in rolled.lows.columns.items()}
    columns |= {f"{_HIGH}{name}": values for name, values in rolled.highs.columns.items()}
    extremes = Block(stamp_s=rolled.lows.stamp_s, columns=columns)
    return encode(rolled.means), encode(extremes), len(rolled.means)


def rolled_back(means: bytes, extremes: bytes | None) -> RolledUp:
    """Give a rolled-up day again."""
    lows, highs = extremes_back(extremes)
    return RolledUp(means=decode(means), lows=lows, highs=highs)


def extremes_back(extremes: bytes | None) -> tuple[Block, Block]:
    """Give the lowest and the highest values of a day's hours."""
    if extremes is None:
        return _NOTHING, _NOTHING
    held = decode(extremes)
    return _of_end(held, _LOW), _of_end(held, _HIGH)


def _of_end(held: Block, end: str) -> Block:
    columns = {
        name.removeprefix(end): values
        for name, values in held.columns.items()
        if name.startswith(end)
    }
    return Block(stamp_s=held.stamp_s, columns=columns)
