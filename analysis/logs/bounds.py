"""The least and the greatest value of a column, worked out once while it is read.

Most questions to a column (is there a value that stands for a broken sensor, one that is
impossible, a gap?) are settled by its ends; without them each would cost a walk through a year.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from analysis.record import Floats


class Ends(NamedTuple):
    """The least and the greatest of some values, NaN where there is none, and whether they are
    whole: a finite number in each row.
    """

    lowest: float
    highest: float
    whole: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bounds:
    """The ends of one array: of this very one, which nobody changes in place."""

    values: Floats
    ends: Ends


# Bounds by the identity of their array, which lives as long as they do.
Known = Mapping[int, Bounds]
_NONE: Known = MappingProxyType({})


def known_of(bounds: Iterable[Bounds]) -> Known:
    """Give bounds so that they are found by their array."""
    return {id(one.values): one for one in bounds}


def ends_of(values: Floats, known: Known = _NONE) -> Ends:
    """Give the ends of values, shape (n,): those that are known of the array, else worked out."""
    found = known.get(id(values))
    if found is not None:
        return found.ends
    if not len(values):
        return Ends(np.nan, np.nan, whole=True)
    lowest, highest = float(values.min()), float(values.max())  # NaN where any value is
    if np.isfinite(lowest) and np.isfinite(highest):
        return Ends(lowest, highest, whole=True)
    return Ends(float(np.fmin.reduce(values)), float(np.fmax.reduce(values)), whole=False)


def together(parts: Iterable[Ends]) -> Ends:
    """Give the ends of values from those of all the parts that they were put together of."""
    parts = list(parts)
    lowest, highest = np.nan, np.nan
    for one in parts:
        lowest, highest = np.fmin(lowest, one.lowest), np.fmax(highest, one.highest)
    return Ends(float(lowest), float(highest), whole=all(one.whole for one in parts))
