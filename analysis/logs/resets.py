"""A logger's clock that fell back to the day it counts from, and went on from there.

Its rows belong between the row before the fall and the first one after the clock was set again.
Where they fill that time but for half an hour, they are put in its middle, off by a quarter at the
most; else the time without power is unknown, and only a person can say where they belong.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

_DAY = int(SECONDS_PER_DAY)
# Engineering judgement: a clock without power falls back by years, to a new year's midnight; a
# log whose files were put together in the wrong order does not.
_FALL_S = 400 * _DAY
_AFTER_NEW_YEAR_S = _DAY
_MOST_FRAC = 0.5
# A clock that is a quarter of an hour off is good enough for every figure (as
# `analysis.clock_check` has it); rows put in the middle are off by half of the room they have.
_MOST_ROOM_S = int(SECONDS_PER_HOUR) // 2
_STEPS_BESIDE = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Reset:
    """Rows that were stamped by a clock that had been reset.

    Attributes
    ----------
    rows : the first of them and the first after them
    between_s : the stamps before and after them; the second is None where the log ends [s]
    step_s : usual step of the log there [s]
    room_s : by how much they can be moved between those stamps; None where it cannot be told [s]
    """

    rows: tuple[int, int]
    between_s: tuple[int, int | None]
    step_s: int
    room_s: int | None

    @property
    def part(self) -> slice:
        """The rows as a slice."""
        return slice(*self.rows)

    @property
    def proven(self) -> bool:
        """Whether the rows fill the time between but for half an hour."""
        return self.room_s is not None and self.room_s <= _MOST_ROOM_S

    def shift_s(self, last_s: int) -> int | None:
        """Give what is to be added to the stamps, the last of which is given [s].

        To the middle of their room where that is proven; else as if the logger had run on while
        its clock was set, one step before the next row. None where nothing comes after.
        """
        after_s = self.between_s[1]
        if after_s is None:
            return None
        early_s = self.room_s // 2 if self.room_s is not None and self.proven else self.step_s
        return after_s - early_s - last_s


def clock_resets(stamp_s: NDArray[np.int64]) -> tuple[Reset, ...]:
    """Find the rows that were stamped by a clock that had been reset.

    Parameters
    ----------
    stamp_s : ndarray of int64, shape (n,)
        Stamps in the order of the file, epoch seconds of UTC or of the wall clock [s].

    Returns
    -------
    tuple of Reset
        Rows from a fall of more than a year to the first day of some year, until the stamps rise
        above where they fell from. None where that would be half of the file and more.
    """
    found = tuple(_runs(stamp_s))
    if sum(one.rows[1] - one.rows[0] for one in found) > _MOST_FRAC * len(stamp_s):
        return ()
    return found


def _runs(stamp_s: NDArray[np.int64]) -> Iterator[Reset]:
    until = 0
    for fall in (np.flatnonzero(np.diff(stamp_s) < -_FALL_S) + 1).tolist():
        if fall < until:
            continue
        landed = stamp_s[fall]
        year = landed.astype("datetime64[s]").astype("datetime64[Y]").astype("datetime64[s]")
        if landed - year.astype(np.int64) > _AFTER_NEW_YEAR_S:
            continue
        before_s = int(stamp_s[fall - 1])
        until = _reaches(stamp_s, fall, before_s)
        after_s = int(stamp_s[until]) if until < len(stamp_s) else None
        run = stamp_s[fall:until]
        beside = np.diff(stamp_s[max(fall - _STEPS_BESIDE, 0) : fall])
        steps = np.concatenate([np.diff(run), beside])
        rising = steps[steps > 0]
        step_s = int(np.median(rising)) if len(rising) else 0
        room_s = None
        # Where the clock fell back again among them, the rows are not one run.
        if after_s is not None and (np.diff(run) > 0).all():
            room_s = after_s - before_s - int(run[-1] - run[0])
        yield Reset(
            rows=(fall, until),
            between_s=(before_s, after_s),
            step_s=step_s,
            room_s=room_s if room_s is not None and room_s > 0 else None,
        )


def _reaches(stamp_s: NDArray[np.int64], start: int, level_s: int) -> int:
    """Give the first row from one on that reaches a level; costs no more than the way there."""
    size = 64
    while start < len(stamp_s):
        there = stamp_s[start : start + size] >= level_s
        if there.any():
            return start + int(np.argmax(there))
        start, size = start + size, size * 2
    return len(stamp_s)
