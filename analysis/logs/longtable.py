"""Long tables: one value per row, named by another column, become columns of their own."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from analysis.logs.conversions import Unit
from analysis.logs.dialect import Dialect
from analysis.logs.layout import ANY_UNIT, Column, Layout
from analysis.logs.numbers import NumberStyle, is_unit, looks_like_number, split_unit
from analysis.logs.words import MISSING_FOLDED

# Heads of the column that names the series (trade words; common practice, no source).
_SERIES_WORDS = (
    "name sensor channel variable parameter point tag signal series measurement quantity "
    "item kanal messstelle messwert bezeichnung fühler größe capteur nom voie grandeur "
    "mesure nombre canal magnitud sensore canale grandezza nome punto kanaal meetpunt naam "
    "grootheid id source metric register label"
)
_SERIES_HEADS = frozenset(_SERIES_WORDS.split())
# Where the value was taken; it names a series only beside one of those.
_DEVICE_HEADS = frozenset(
    ("device", "node", "station", "gerät", "appareil", "equipo", "dispositivo", "apparaat")
)
_MOST_SERIES = 200
_MOST_NAMING = 4


@dataclass(slots=True)
class SeriesCodes:
    """Numbers for the names of series, in the order in which they are met."""

    codes: dict[str, int] = field(default_factory=dict)
    lock: Lock = field(default_factory=Lock)

    def code(self, text: str) -> float:
        """Give the number of a name, NaN for none and for more names than a log can have."""
        bare = text.strip()
        if not bare:
            return math.nan
        with self.lock:
            if bare not in self.codes and len(self.codes) >= _MOST_SERIES:
                return math.nan
            return float(self.codes.setdefault(bare, len(self.codes)))


@dataclass(frozen=True, slots=True, kw_only=True)
class LongTable:
    """Which columns of a long table hold what.

    Attributes
    ----------
    series_places : columns that name the series; only the whole file tells which of them do
    unit_place : column of their units, None where there is none
    """

    series_places: tuple[int, ...]
    unit_place: int | None


def long_table_of(dialect: Dialect, layout: Layout) -> LongTable | None:
    """Know a long table: one column of numbers, beside those of a few names that come again.

    Parameters
    ----------
    dialect : Dialect
        How the file is written.
    layout : Layout
        What its columns hold; one whose meaning is known makes it a wide table.

    Returns
    -------
    LongTable or None
        None for a wide table.
    """
    if layout.columns or len(layout.open) != 1:
        return None
    value = layout.open[0].place
    taken = {*layout.stamp.places, value}
    titled, devices, repeating = [], [], []
    unit_place = None
    for place, head in enumerate(dialect.heads):
        if place in taken:
            continue
        cells = [row[place].strip() for row in dialect.samples]
        held = {cell for cell in cells if cell.lower() not in MISSING_FOLDED}
        if not held or any(looks_like_number(cell) for cell in held):
            continue
        if all(is_unit(cell) for cell in held):
            unit_place = place
            continue
        words = set(head.lower().replace("_", " ").split())
        if words & _SERIES_HEADS:
            titled.append(place)
            continue
        if words & _DEVICE_HEADS:
            devices.append(place)
        if len(held) > 1 and len(held) * 2 <= len(cells):
            repeating.append(place)
    if titled:
        places = sorted([*devices, *titled][:_MOST_NAMING])
        return LongTable(series_places=tuple(places), unit_place=unit_place)
    stamps = {" ".join(row[place] for place in layout.stamp.places) for row in dialect.samples}
    if not repeating or len(stamps) * 2 > len(dialect.samples):
        return None
    return LongTable(series_places=tuple(repeating[:1]), unit_place=unit_place)


def long_columns(
    table: LongTable, layout: Layout
) -> tuple[tuple[Column, ...], tuple[SeriesCodes, ...], SeriesCodes]:
    """Give the columns to read of a long table: value, names, and unit where there is one.

    Parameters
    ----------
    table : LongTable
        Which column holds what.
    layout : Layout
        The layout it was found in.

    Returns
    -------
    tuple
        The columns, the codes of the names in each naming column, and the codes of units; reading
        fills the codes.
    """
    names, units = tuple(SeriesCodes() for _ in table.series_places), SeriesCodes()
    value = layout.open[0]
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
