"""Which columns of a long table name the sensor of each row, by words or by numbers.

A table is long where each row holds one reading of one sensor. Names in words tell it; numbers
may as well be readings themselves, so the rows have to tell: sensors take turns, or share a stamp,
or one follows the other from the first day on. Where a head does not say so too, it is asked.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median

from analysis.errors import LogError
from analysis.logs.asking import Choice, Question
from analysis.logs.cells import LONGEST_HEAD
from analysis.logs.dialect import Dialect
from analysis.logs.layout import Column, Layout
from analysis.logs.numbers import is_unit, looks_like_number
from analysis.logs.shapes import quoted
from analysis.logs.spots import spread_rows
from analysis.logs.timecolumns import stamp_of
from analysis.logs.words import MISSING_FOLDED
from analysis.site import LogMap

# Heads of the column that names the series (trade words; common practice, no source).
_SERIES_WORDS = (
    "name sensor channel variable parameter point tag signal series measurement quantity "
    "item kanal messstelle messwert bezeichnung fühler größe capteur nom voie grandeur "
    "mesure nombre canal magnitud sensore canale grandezza nome punto kanaal meetpunt naam "
    "grootheid id source metric register label"
)
_SERIES_HEADS = frozenset(_SERIES_WORDS.split())
# Heads that say so of a column of numbers, which a value could be too.
_NUMBER_WORDS = (
    "sensor sensorid sensor_id id channel channelid channel_id ch kanal fühler capteur voie canal "
    "sensore canale kanaal point tag address addr adresse input eingang probe"
)
_NUMBER_HEADS = frozenset(_NUMBER_WORDS.split())
_NUMBER_TAILS = re.compile(r"[\s_.-]*(?:id|no|nr|num|number|nummer|index|#)\.?$")
# Where the value was taken; it names a series only beside one of those.
_DEVICE_HEADS = frozenset(
    ("device", "node", "station", "gerät", "appareil", "equipo", "dispositivo", "apparaat")
)
_NUMBER = re.compile(r"\d{1,10}", re.ASCII)
_MOST_NAMING = 4
# Engineering judgement: a table with more numbers is one of values; shares of rows that must fit;
# readings of one sensor change by so much less than from one sensor to the next.
_MOST_NUMBERS = 64
_MOST_FRAC, _FEW_FRAC = 0.8, 0.2
_CALMER_FRAC = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class LongTable:
    """Which columns of a long table hold what.

    Attributes
    ----------
    series_places : columns that name the series; only the whole file tells which of them do
    unit_place : column of their units, None where there is none
    value : the column of the readings
    """

    series_places: tuple[int, ...]
    unit_place: int | None
    value: Column


def long_table_of(
    name: str, dialect: Dialect, layout: Layout, text: bytes, told: LogMap
) -> LongTable | None:
    """Know a long table: one column of readings, beside those that name a few sensors.

    Parameters
    ----------
    name : str
        File name, for messages.
    dialect : Dialect
        How the file is written.
    layout : Layout
        What its columns hold; one whose meaning is known makes it a wide table.
    text : bytes
        The file as clean UTF-8.
    told : LogMap
        What the map says of the kind of table goes before what is found.

    Returns
    -------
    LongTable or None
        None for a wide table.

    Raises
    ------
    LogError
        It can be either, and that is asked.
    """
    if layout.columns or not layout.open or told.table == "wide":
        return None
    layout = _without_empty(dialect, layout, text)
    titled, devices, repeating, unit_place = _in_words(dialect, layout)
    if len(layout.open) == 1:
        value = layout.open[0]
        if titled:
            places = sorted([*devices, *titled][:_MOST_NAMING])
            return LongTable(series_places=tuple(places), unit_place=unit_place, value=value)
        look = _Look.at(dialect, layout, text, tuple(repeating[:1]), value.place)
        if repeating and (told.table == "long" or look.turns()):
            return LongTable(series_places=tuple(repeating[:1]), unit_place=unit_place, value=value)
        return None
    numbered = _numbered(dialect, layout, text)
    if numbered is None:
        return None
    numbers, value = numbered
    if titled and _are_redundant(dialect, text, numbers, titled):
        numbers = ()
    found = LongTable(
        series_places=tuple(sorted((*devices, *titled, *numbers))[:_MOST_NAMING]),
        unit_place=unit_place,
        value=value,
    )
    if told.table == "long" or titled:
        return found
    look = _Look.at(dialect, layout, text, numbers, value.place)
    says_so = any(_says_number(dialect.heads[place]) for place in numbers)
    structured = look.turns() or look.follow()
    if says_so and (structured or look.calmer()):
        return found
    if structured or (says_so and look.several()):
        raise _open_table(name, dialect, numbers[0])
    return None


def _without_empty(dialect: Dialect, layout: Layout, text: bytes) -> Layout:
    """Leave out columns that have a head and nothing else, as exports with annotations do."""
    rows = [row for stretch in spread_rows(text, dialect) for row in stretch]
    filled = [
        one
        for one in layout.open
        if any(row[one.place].lower() not in MISSING_FOLDED for row in rows)
    ]
    return replace(layout, open=tuple(filled)) if filled else layout


def _are_redundant(
    dialect: Dialect, text: bytes, numbers: Sequence[int], titled: Sequence[int]
) -> bool:
    """Tell whether numbers only count the sensors that have names of their own."""
    number_of: dict[str, set[str]] = {}
    for row in (row for stretch in spread_rows(text, dialect) for row in stretch):
        name = "|".join(row[place] for place in titled)
        number_of.setdefault(name, set()).add("|".join(row[place] for place in numbers))
    return len(number_of) > 1 and all(len(found) == 1 for found in number_of.values())


def _in_words(
    dialect: Dialect, layout: Layout
) -> tuple[list[int], list[int], list[int], int | None]:
    """Give the columns of words: named like series, like devices, with few words; and of units."""
    numbers = {column.place for column in layout.open}
    titled, devices, repeating = [], [], []
    unit_place = None
    for place, head in enumerate(dialect.heads):
        if place in layout.stamp.places or place in numbers:
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
    return titled, devices, repeating, unit_place


def _numbered(
    dialect: Dialect, layout: Layout, text: bytes
) -> tuple[tuple[int, ...], Column] | None:
    """Give the columns that may number sensors, and the one of readings that is left beside."""
    rows = [row for stretch in spread_rows(text, dialect) for row in stretch]
    numbers = []
    for column in layout.open:
        cells = [row[column.place] for row in rows]
        few = 0 < len(set(cells)) <= min(_MOST_NUMBERS, len(cells) // 2)
        if few and all(_NUMBER.fullmatch(cell) for cell in cells):
            numbers.append(column)
    if len(numbers) == len(layout.open):  # readings without a decimal
        said = [one for one in numbers if _says_number(one.head)]
        numbers = said or numbers[:1]
    values = [column for column in layout.open if column not in numbers]
    if not numbers or len(values) != 1:
        return None
    return tuple(column.place for column in numbers), values[0]


def _says_number(head: str) -> bool:
    """Tell whether a head says that a column numbers sensors, as `Sensor no` does."""
    folded = head[:LONGEST_HEAD].strip().lower()
    bare = _NUMBER_TAILS.sub("", folded)
    return folded in _NUMBER_HEADS or (bare != folded and (not bare or bare in _NUMBER_HEADS))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    """Stretches of rows: of each its stamp, which sensor it names, and its reading."""

    stretches: tuple[tuple[tuple[int, str, float], ...], ...]

    @classmethod
    def at(
        cls,
        dialect: Dialect,
        layout: Layout,
        text: bytes,
        naming: Sequence[int],
        value: int,
    ) -> "_Look":
        found = []
        for rows in spread_rows(text, dialect):
            stretch = []
            for row in rows:
                stamp_s, reading = stamp_of(layout.stamp, row), dialect.numbers.value(row[value])
                if stamp_s is not None:
                    name = "|".join(row[place] for place in naming)
                    stretch.append((stamp_s, name, float("nan") if reading is None else reading))
            if len(stretch) > 1:
                found.append(tuple(stretch))
        return cls(stretches=tuple(found))

    def several(self) -> bool:
        """Tell whether more than one sensor is named."""
        return len({name for rows in self.stretches for _, name, _ in rows}) > 1

    def turns(self) -> bool:
        """Tell whether sensors share their stamps, or come one after the other again and again."""
        if not self.several():
            return False
        rows = [row for stretch in self.stretches for row in stretch]
        stamps, pairs = {row[0] for row in rows}, {row[:2] for row in rows}
        if len(stamps) * 2 <= len(rows) and len(pairs) >= _MOST_FRAC * len(rows):
            return True
        again = other = same = 0
        for stretch in self.stretches:
            names = [name for _, name, _ in stretch]
            period = len(set(names))
            same += sum(one == two for one, two in pairwise(names))
            other += sum(one != two for one, two in pairwise(names))
            again += sum(one == two for one, two in zip(names, names[period:], strict=False))
        period = max(len({name for _, name, _ in stretch}) for stretch in self.stretches)
        told = len(rows) - period * len(self.stretches)
        return same <= _FEW_FRAC * (same + other) and again >= _MOST_FRAC * max(told, 1)

    def follow(self) -> bool:
        """Tell whether all of one sensor comes before all of the next, from the same days on."""
        rows = [row for stretch in self.stretches for row in stretch]
        changes = sum(one[1] != two[1] for one, two in pairwise(rows))
        back = any(two[0] < one[0] for one, two in pairwise(rows))
        return self.several() and back and changes == len({row[1] for row in rows}) - 1

    def calmer(self) -> bool:
        """Tell whether readings of one sensor differ less than those of neighbouring rows."""
        along, within = [], []
        for stretch in self.stretches:
            last: dict[str, float] = {}
            for one, two in pairwise(stretch):
                if one[1] != two[1]:
                    along.append(abs(two[2] - one[2]))
            for _, name, reading in stretch:
                if name in last:
                    within.append(abs(reading - last[name]))
                last[name] = reading
        along, within = [x for x in along if x == x], [x for x in within if x == x]
        return bool(along and within) and median(within) < _CALMER_FRAC * median(along)


def _open_table(name: str, dialect: Dialect, place: int) -> LogError:
    head = dialect.heads[place] or f"column {place + 1}"
    why = (
        f"each row may be one reading of the sensor that {quoted(head)} numbers, or {quoted(head)} "
        "holds values of its own"
    )
    question = Question(
        kind="table",
        file=name,
        subject="",
        choices=(
            Choice(
                value="long",
                says="each row is one reading, of the sensor with that number",
                certainty_frac=float("nan"),
            ),
            Choice(
                value="wide",
                says="each row holds a value in every column",
                certainty_frac=float("nan"),
            ),
        ),
        why=why,
    )
    return LogError(
        f'{why}; tell which in [log]: table = "long" or table = "wide"',
        file=name,
        line=dialect.first_line,
        column=head,
        questions=(question,),
    )
