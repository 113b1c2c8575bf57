"""Long tables: one value per row, named by another column, become columns of their own."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from threading import Lock

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
_MOST_SERIES = 200


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
    series_place : column that names the series
    unit_place : column of their units, None where there is none
    """

    series_place: int
    unit_place: int | None


def long_table_of(dialect: Dialect, layout: Layout) -> LongTable | None:
    """Know a long table: one column of numbers, beside one of a few names that come again.

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
    named: list[tuple[int, int]] = []
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
        titled = any(word in _SERIES_HEADS for word in head.lower().replace("_", " ").split())
        again = len(held) > 1 and len(held) * 2 <= len(cells)
        if titled or again:
            named.append((-int(titled), place))
    if not named:
        return None
    series = min(named)[1]
    stamps = {" ".join(row[place] for place in layout.stamp.places) for row in dialect.samples}
    titled = min(named)[0] < 0
    if not titled and len(stamps) * 2 > len(dialect.samples):
        return None
    return LongTable(series_place=series, unit_place=unit_place)


def long_columns(
    table: LongTable, layout: Layout
) -> tuple[tuple[Column, ...], SeriesCodes, SeriesCodes]:
    """Give the columns to read of a long table: name, value, and unit where there is one.

    Parameters
    ----------
    table : LongTable
        Which column holds what.
    layout : Layout
        The layout it was found in.

    Returns
    -------
    tuple
        The columns, and the codes of names and of units, which reading fills.
    """
    names, units = SeriesCodes(), SeriesCodes()
    value = layout.open[0]
    columns = [
        _coded(table.series_place, names.code),
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
    ]
    if table.unit_place is not None:
        columns.append(_coded(table.unit_place, units.code))
    elif value.cell_unit:
        columns.append(_coded(value.place, lambda text: units.code(_unit_of(text))))
    return tuple(columns), names, units


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
