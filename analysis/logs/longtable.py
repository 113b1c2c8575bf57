"""Long tables: one value per row, named by another column, become columns of their own."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from analysis.logs.conversions import Unit
from analysis.logs.layout import ANY_UNIT, Column
from analysis.logs.numbers import NumberStyle, split_unit
from analysis.logs.sensor_columns import LongTable

_MOST_SERIES = 200


@dataclass(slots=True)
class SeriesCodes:
    """Numbers for the names of series, in the order in which they are met.

    `head` stands before a sensor that has a number for a name: a bare number in a map is the place
    of a column.
    """

    head: str = "sensor"
    codes: dict[str, int] = field(default_factory=dict)
    lock: Lock = field(default_factory=Lock)

    def code(self, text: str) -> float:
        """Give the number of a name, NaN for none and for more names than a log can have."""
        bare = text.strip()
        if not bare:
            return math.nan
        if bare.isdigit():
            bare = f"{self.head} {bare}"
        with self.lock:
            if bare not in self.codes and len(self.codes) >= _MOST_SERIES:
                return math.nan
            return float(self.codes.setdefault(bare, len(self.codes)))


def long_columns(
    table: LongTable, heads: Sequence[str]
) -> tuple[tuple[Column, ...], tuple[SeriesCodes, ...], SeriesCodes]:
    """Give the columns to read of a long table: value, names, and unit where there is one.

    Parameters
    ----------
    table : LongTable
        Which column holds what.
    heads : sequence of str
        Heads of all columns.

    Returns
    -------
    tuple
        The columns, the codes of the names in each naming column, and the codes of units; reading
        fills the codes.
    """
    names = tuple(SeriesCodes(head=heads[place] or "sensor") for place in table.series_places)
    units, value = SeriesCodes(), table.value
    columns = [
        Column(
            place=value.place,
            head=value.head,
            channel=None,
            unit=Unit(),
            unit_says="",
            words=True,
            cell_unit=ANY_UNIT if value.cell_unit else "",
            tells=True,
            numbers=value.numbers,
        ),
        *(
            _coded(place, codes.code)
            for place, codes in zip(table.series_places, names, strict=True)
        ),
    ]
    if table.unit_place is not None:
        columns.append(_coded(table.unit_place, units.code))
    elif value.cell_unit:
        columns.append(_coded(value.place, lambda text: units.code(_unit_of(text))))
    return tuple(columns), names, units


def series_of(
    naming: Sequence[NDArray[np.float64]], names: Sequence[SeriesCodes]
) -> tuple[NDArray[np.float64], tuple[str, ...]]:
    """Tell the series of each row from all the columns that name it.

    A device beside what it measures makes two series of one quantity. A column that tells no
    series apart from another, such as the only device or a number beside each name, stays out.

    Parameters
    ----------
    naming : sequence of ndarray, each of shape (n,)
        For each naming column the codes of its names, NaN for none [-].
    names : sequence of SeriesCodes
        What the codes stand for.

    Returns
    -------
    tuple
        For each row the number of its series, NaN where a column leaves the name out, of shape
        (n,) [-]; and the names of the series in the order in which they come in the file.
    """
    words = [list(codes.codes) for codes in names]
    kept = [place for place in range(len(naming)) if len(words[place])]
    # The column whose names say least, by their letters, is the first to be left out.
    said = {p: sum(map(str.isalpha, "".join(words[p]))) / len(words[p]) for p in kept}
    for place in sorted(kept, key=lambda one: (len(words[one]) > 1, said[one])):
        others = [one for one in kept if one != place]
        if others and _distinct(naming, others) == _distinct(naming, kept):
            kept = others
    if not kept:
        return np.full(len(naming[0]), np.nan), ()
    there = np.all([np.isfinite(naming[place]) for place in kept], axis=0)
    table = np.stack([naming[place][there] for place in kept], axis=1).astype(np.int64)
    keys, first, inverse = np.unique(table, axis=0, return_index=True, return_inverse=True)
    order = np.argsort(first)
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    numbers = np.full(len(there), np.nan)
    numbers[there] = rank[inverse.reshape(-1)]
    joined = [
        " ".join(words[place][code] for place, code in zip(kept, keys[row], strict=True))
        for row in order.tolist()[:_MOST_SERIES]
    ]
    return numbers, tuple(joined)


def _distinct(naming: Sequence[NDArray[np.float64]], places: Sequence[int]) -> int:
    """Count the different names that these columns give together."""
    key = np.zeros(len(naming[0]))
    for place in places:
        key = key * (_MOST_SERIES + 1) + np.nan_to_num(naming[place], nan=float(_MOST_SERIES))
    return len(np.unique(key))


def _unit_of(text: str) -> str:
    split = split_unit(text)
    return "" if split is None else split[1]


def _coded(place: int, code: Callable[[str], float]) -> Column:
    return Column(
        place=place,
        head=f"column {place + 1}",
        channel=None,
        unit=Unit(),
        unit_says="",
        words=True,
        code=code,
        numbers=NumberStyle(decimal="."),
    )
