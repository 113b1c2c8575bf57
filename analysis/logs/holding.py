"""Logs that write a value only where it changes: it holds until the next one.

Read as samples such a log is full of gaps, and its heat a fraction of what was. That it writes
changes is told by its values, which never come twice in a row, at times without a usual step. A
value is held for a limited time, and nothing is held while the whole log is silent.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.common_rows import GAP_IN_STEPS
from analysis.units import SECONDS_PER_HOUR

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Engineering judgement: a value may stand still for a night and a day, a logger that watches a
# solar loop has something to write every few hours; a minute is fine enough for a pump.
LONGEST_H, SILENT_H, STEP_S = 24, 3, 60
_FEWEST = 20
_REPEATED_FRAC, _TELLING_FRAC, _FEWER = 0.05, 0.1, 3.0
_ORDINARY_FRAC, _UNEVEN_FRAC = 0.8, 0.05
_SPARSE_FRAC = 0.7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Samples:
    """The samples of one column, in any order; NaN: written as missing."""

    stamp_s: Ints
    values: Floats

    def rising(self) -> "Samples":
        """Give them in order of time, the last given of equal stamps."""
        order = np.argsort(self.stamp_s, kind="stable")
        stamp_s, values = self.stamp_s[order], self.values[order]
        last = np.append(np.diff(stamp_s) > 0, True) if len(stamp_s) else np.zeros(0, np.bool_)
        return Samples(stamp_s=stamp_s[last], values=values[last])


def what_is_written(columns: Sequence[Samples]) -> Literal["all", "changes", "unsure"]:
    """Tell whether a log writes every value, or only those that changed.

    Parameters
    ----------
    columns : sequence of Samples
        Columns of values of one file, without their empty cells.

    Returns
    -------
    str
        `unsure` where many are missing without a rule, and too many come twice to be changes.
    """
    known = [one for one in (own.rising() for own in columns) if len(one.stamp_s) >= _FEWEST]
    if len(known) < 2:
        return "all"
    every, often = np.unique(np.concatenate([one.stamp_s for one in known]), return_counts=True)
    rows = len(np.unique(every // STEP_S))
    # Now and then some loggers write everything, to be sure.
    full_s = every[often == len(known)]
    sparse = [_Moves.of(one, full_s) for one in known if len(one.stamp_s) < _SPARSE_FRAC * rows]
    telling = [one for one in sparse if one.single_frac >= _TELLING_FRAC and one.uneven]
    if not telling:
        return "all"
    every_move = [_Moves.of(one, full_s) for one in known]
    if max(one.none_frac for one in every_move) <= _REPEATED_FRAC:
        return "changes"
    doubtful = sum(one.none_frac * _FEWER < one.single_frac for one in telling)
    return "unsure" if doubtful * 2 > len(telling) else "all"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Moves:
    """How values follow each other, rows aside that hold every column.

    A slow signal that is sampled stands still from one sample to the next at least half as often
    as it moves by its smallest step.

    Attributes
    ----------
    none_frac, single_frac : the part of values that are those before, and that are the smallest
        step away from them, 0 to 1
    uneven : whether they come at times without a step that nearly all have
    """

    none_frac: float
    single_frac: float
    uneven: bool

    @classmethod
    def of(cls, one: Samples, full_s: Ints) -> "_Moves":
        alone = ~np.isin(one.stamp_s[1:], full_s)
        moves = np.abs(np.diff(one.values)[alone])
        if len(moves) < _FEWEST:
            return cls(none_frac=0.0, single_frac=0.0, uneven=False)
        smallest = moves[moves > 0.0].min(initial=np.inf)
        return cls(
            none_frac=float((moves == 0.0).mean()),
            single_frac=float(((moves > 0.0) & (moves < 1.5 * smallest)).mean()),
            uneven=_other_steps(one.stamp_s) > _UNEVEN_FRAC,
        )


def _unruly(stamp_s: Ints) -> bool:
    """Whether samples come without a usual step."""
    steps = np.diff(stamp_s)
    return bool((steps <= GAP_IN_STEPS * float(np.median(steps))).mean() < _ORDINARY_FRAC)


def _other_steps(stamp_s: Ints) -> float:
    """Give the part of steps that are not the usual one, 0 to 1."""
    steps = np.diff(stamp_s)
    usual = float(np.median(steps))
    return float((np.abs(steps - usual) > 0.5 * usual).mean())


def held(columns: Sequence[Samples], rows_s: Ints) -> tuple[Ints, tuple[Floats, ...]]:
    """Hold every value until the next.

    Parameters
    ----------
    columns : sequence of Samples
        Columns of one file, without their empty cells.
    rows_s : ndarray of int64
        Stamps of the rows of the file, those without a value too [s].

    Returns
    -------
    tuple
        Rows: those of the file where they have a usual step, and more of that step where it left
        some out, else the whole minutes between its first and last [s]; and the values of each
        column there, NaN where nothing can be held.
    """
    every = np.unique(rows_s)
    wanted_s = every
    if len(every) > 1 and _unruly(every):
        wanted_s = np.arange(-(-int(every[0]) // STEP_S), int(every[-1]) // STEP_S + 1) * STEP_S
    elif len(every) > 1:
        wanted_s = _filled(every, int(np.median(np.diff(every))))
    return wanted_s, tuple(_held(one.rising(), wanted_s, every) for one in columns)


def _filled(every: Ints, step_s: int) -> Ints:
    """Add the rows that a usual step would have had where nothing changed."""
    missing = np.maximum(np.round(np.diff(every) / step_s).astype(np.int64) - 1, 0)
    missing[np.diff(every) > SILENT_H * SECONDS_PER_HOUR] = 0
    begins = np.repeat(every[:-1], missing)
    number = np.arange(len(begins)) - np.repeat(np.cumsum(missing) - missing, missing) + 1
    return np.sort(np.concatenate([every, begins + number * step_s]))


def _held(one: Samples, wanted_s: Ints, every: Ints) -> Floats:
    if not len(one.stamp_s):
        return np.full(len(wanted_s), np.nan)
    at = np.searchsorted(one.stamp_s, wanted_s, side="right") - 1
    since_s = wanted_s - one.stamp_s[np.maximum(at, 0)]
    before = np.maximum(np.searchsorted(every, wanted_s, side="right") - 1, 0)
    after = np.minimum(np.searchsorted(every, wanted_s), len(every) - 1)
    silent = every[after] - every[before] > SILENT_H * SECONDS_PER_HOUR
    good = (at >= 0) & (since_s <= LONGEST_H * SECONDS_PER_HOUR) & ~silent
    return np.where(good, one.values[np.maximum(at, 0)], np.nan)
