"""The parts of a file, read side by side, as one: each is laid where it belongs when it is read.

So a column is copied once, while it is still near the processor, and the parts of a year never
stand beside the whole of it.
"""

from collections.abc import Sequence
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from analysis.logs.bounds import Bounds, Ends, ends_of, known_of, together
from analysis.logs.rows import Part


class Gathered:
    """Room for the rows of some blocks, in their order."""

    def __init__(self, most: Sequence[int], *, columns: int) -> None:
        """Make room.

        Parameters
        ----------
        most : sequence of int
            How many rows each block can have at most [-].
        columns : int
            How many columns of values there are [-].
        """
        *self._begins, room = accumulate(most, initial=0)
        self._rows, self._read = [0] * len(most), [0] * len(most)
        self._ends: list[list[Ends]] = [[] for _ in range(columns)]
        self._stamp_s = np.empty(room, dtype=np.int64)
        self._lines = np.empty(room, dtype=np.int32)
        self._values = [np.empty(room) for _ in range(columns)]

    def lay(self, block: int, parts: Sequence[Part]) -> None:
        """Lay the parts of a block in its room; blocks may come in any order, and at once."""
        at = self._begins[block]
        for part in parts:
            end = at + len(part.stamp_s)
            for room, held in zip(self._columns(), _columns(part), strict=True):
                room[at:end] = held
            for ends, values in zip(self._ends, part.values, strict=True):
                ends.append(ends_of(values, part.bounds))
            at = end
        self._rows[block] = at - self._begins[block]
        self._read[block] = sum(part.read for part in parts)

    def part(self) -> Part:
        """Give all rows; what was made room for and not used is given back."""
        end = 0
        for begin, rows in zip(self._begins, self._rows, strict=True):
            if begin > end:
                for room in self._columns():
                    room[end : end + rows] = room[begin : begin + rows]
            end += rows
        for room in self._columns():
            room.resize(end, refcheck=False)
        return Part(
            stamp_s=self._stamp_s,
            values=tuple(self._values),
            lines=self._lines,
            read=sum(self._read),
            bounds=known_of(
                Bounds(values=values, ends=together(ends))
                for values, ends in zip(self._values, self._ends, strict=True)
            ),
        )

    def _columns(self) -> tuple[NDArray[np.generic], ...]:
        return (self._stamp_s, self._lines, *self._values)


def _columns(part: Part) -> tuple[NDArray[np.generic], ...]:
    return (part.stamp_s, part.lines, *part.values)
