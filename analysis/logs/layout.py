"""Which column of a file holds what, and which columns nobody explains yet."""

import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass, replace

from analysis.channels import Channel, channel, channel_of_tidy
from analysis.errors import LogError
from analysis.logs.beside import StampGroup, groups_of
from analysis.logs.cells import LONGEST_HEAD, is_stamp
from analysis.logs.conversions import Unit, unit_named
from analysis.logs.dialect import Dialect
from analysis.logs.numbers import NumberStyle, decimal_evidence, looks_like_number, split_unit
from analysis.logs.shapes import quoted
from analysis.logs.spreadsheet_dates import turned_into_date
from analysis.logs.stamp_formats import looks_like_time_of_day
from analysis.logs.stamps import StampFormat
from analysis.logs.step_figures import extremes
from analysis.logs.timecolumns import StampColumns, find_stamp_columns, further_stamps, stamp_of
from analysis.logs.words import MISSING_FOLDED, WORDS
from analysis.site import ColumnMeaning, LogMap

# Stands for the unit of a long table's values: each series may have its own.
ANY_UNIT = "*"
# Rows whose end is the begin of the next one: so many at least, and this share of them, for a log
# may have gaps (engineering judgement).
_FEWEST_STEPS, _MEETING_FRAC = 3, 0.8
# So many heads that are times make a table that lies on its side.
_FEWEST_TIMES = 3
_NAMED_WITH_UNIT = re.compile(r"(?P<name>.+?)\s*[\[(](?P<unit>[^\])]+)[\])]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column of values.

    Attributes
    ----------
    place : 0-based place in a row
    channel : None while nobody knows what it holds
    words : whether it is written in words such as on and off
    cell_unit : unit that its cells carry, "" where they are bare numbers
    source : who said what it holds
    code : gives a number for each text, in a column of names
    tells : whether cells that are no numbers are problems although its meaning is unknown
    numbers : the signs in its numbers, nearly always those of the file
    """

    place: int
    head: str
    channel: Channel | None
    unit: Unit
    unit_says: str
    words: bool
    cell_unit: str = ""
    source: str = "none"
    code: Callable[[str], float] | None = None
    tells: bool = False
    numbers: NumberStyle

    @property
    def by_word(self) -> bool:
        """Whether the columnar parser cannot vouch for its numbers."""
        return self.words or self.numbers.open or self.code is not None

    @property
    def is_share(self) -> bool:
        """Whether words such as on can stand in it."""
        return self.channel is None or self.channel.quantity == "share"


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """What the columns of a file hold.

    Attributes
    ----------
    stamp : where the stamp stands
    columns : columns that are read
    open : columns of numbers whose meaning nobody told
    ignored : heads of the columns that are not read
    groups : columns side by side with stamps of their own, none where `stamp` holds for all
    """

    stamp: StampColumns
    columns: tuple[Column, ...]
    open: tuple[Column, ...]
    ignored: tuple[str, ...]
    groups: tuple[StampGroup, ...] = ()

    def reading(self, *columns: Column) -> "Layout":
        """Give the layout with these columns read too."""
        places = {column.place for column in columns}
        return replace(
            self,
            columns=tuple(sorted((*self.columns, *columns), key=lambda one: one.place)),
            open=tuple(one for one in self.open if one.place not in places),
        )

    def written(self, formats: tuple[StampFormat, ...]) -> "Layout":
        """Give the layout with its stamps, which are all written alike, in these formats."""
        groups = tuple(
            replace(one, stamp=replace(one.stamp, formats=formats)) for one in self.groups
        )
        return replace(self, stamp=replace(self.stamp, formats=formats), groups=groups)


def find_layout(name: str, dialect: Dialect, told: LogMap) -> Layout:
    """Find what each column holds.

    Parameters
    ----------
    name : str
        File name, for messages.
    dialect : Dialect
        How the file is written.
    told : LogMap
        What the site file or map says; it goes before what the header says.

    Returns
    -------
    Layout
        Stamp, columns in use, and the others.

    Raises
    ------
    LogError
        No column for the time, one channel in two columns, or heads that are times.
    """
    _no_times_for_heads(name, dialect)
    meanings = meanings_of(dialect, told)
    known = {place: meaning for place, (meaning, _) in meanings.items()}
    stamp = find_stamp_columns(name, dialect, told, known)
    others = further_stamps(name, dialect, told, known, stamp)
    begin = set(stamp.places) | _ends(stamp, others, dialect)
    if len(begin) > len(stamp.places) and told.stamp != "start":
        stamp = others[0]
    groups = () if len(begin) > len(stamp.places) else _groups(dialect, stamp, others)
    stamps = {at for one in groups for at in one.stamp.places} | begin
    _no_dates_for_numbers(name, dialect, stamps)
    columns: dict[str, Column] = {}
    unknown = []
    ignored = []
    aside = extremes(dialect.heads)
    for place, head in enumerate(dialect.heads):
        if place in stamps:
            continue
        meaning, source = meanings.get(place, (None, "none"))
        found = channel(meaning.channel) if meaning is not None else None
        if meaning is None or found is None:
            offered = meaning is None and place not in aside
            unexplained = open_column(dialect, place) if offered else None
            if unexplained is not None:
                unknown.append(unexplained)
            elif head or any(row[place].strip() for row in dialect.samples):
                ignored.append(head or f"column {place + 1}")
            continue
        if found.name in columns:
            raise LogError(
                f"{quoted(columns[found.name].head)} and {quoted(head)} both hold {found.name}; "
                f"a second sensor of a kind is {found.name}_2, in [log.columns] or as its head",
                file=name,
            )
        columns[found.name] = known_column(name, dialect, place, found, meaning, source=source)
    return Layout(
        stamp=stamp,
        columns=tuple(columns.values()),
        open=tuple(unknown),
        ignored=tuple(ignored),
        groups=groups,
    )


def with_late_numbers(layout: Layout, dialect: Dialect, rows: Sequence[Sequence[str]]) -> Layout:
    """Offer columns too whose numbers begin later, behind words such as `init`.

    Parameters
    ----------
    layout : Layout
        What the head of the file shows.
    dialect : Dialect
        How it is written.
    rows : sequence of rows as cells
        From all through the file.
    """
    later = replace(dialect, samples=tuple(tuple(row) for row in rows))
    taken = {one.place for one in (*layout.columns, *layout.open)} | extremes(dialect.heads)
    taken |= {at for one in layout.groups for at in one.stamp.places} | set(layout.stamp.places)
    found = [
        column
        for place, head in enumerate(dialect.heads)
        if place not in taken and (head or f"column {place + 1}") in layout.ignored
        for column in [open_column(later, place)]
        if column is not None and any(looks_like_number(row[place]) for row in rows)
    ]
    left = list(layout.ignored)
    for column in found:
        if column.head in left:
            left.remove(column.head)
    every = sorted((*layout.open, *found), key=lambda one: one.place)
    return replace(layout, open=tuple(every), ignored=tuple(left))


def _no_times_for_heads(name: str, dialect: Dialect) -> None:
    """Refuse a table that lies on its side: a column for each time, a row for a sensor or a day."""
    # Times look like values, so that such heads may pass for the first row.
    first = dialect.heads if any(dialect.heads) else dialect.samples[0]
    times = [cell for cell in first if is_stamp(cell, None) or looks_like_time_of_day([cell])]
    if len(times) < _FEWEST_TIMES or len(times) * 3 <= len(first) * 2:
        return
    days = is_stamp(dialect.samples[-1][0].strip(), None)
    what = (
        "each row holds a whole day, its hours side by side; export the log with one row for each "
        "time"
        if days
        else "each row holds a sensor, its times side by side; turn the table so that each time "
        "has a row (in a spreadsheet: copy all, then paste transposed), and save it as CSV"
    )
    raise LogError(
        f"the heads of its columns are times, such as {quoted(times[0])}: {what}",
        file=name,
        line=dialect.header_line,
    )


def _no_dates_for_numbers(name: str, dialect: Dialect, stamps: Set[int]) -> None:
    """Refuse a file in which a spreadsheet turned readings into dates: they are lost."""
    places = [place for place in range(len(dialect.heads)) if place not in stamps]
    found = turned_into_date([[row[place] for row in dialect.samples] for place in places])
    if found is None:
        return
    raise LogError(
        f"numbers became dates in a spreadsheet, such as {quoted(found[1])}, and cannot be brought "
        "back; give the file that the logger wrote, unopened",
        file=name,
        line=dialect.first_line,
        column=dialect.heads[places[found[0]]] or f"column {places[found[0]] + 1}",
    )


def _ends(stamp: StampColumns, others: list[StampColumns], dialect: Dialect) -> set[int]:
    """Give the places of the second stamp of rows that print begin and end of their step.

    The end of a row is the begin of the next one, both rising; else none.
    """
    if len(others) != 1:
        return set()
    begins, ends = (
        [stamp_of(one, list(row)) for row in dialect.samples] for one in (stamp, others[0])
    )
    if len(begins) < _FEWEST_STEPS or None in begins or None in ends:
        return set()
    meets = sum(end == begin for end, begin in zip(ends, begins[1:], strict=False))
    back = sum(end == begin for end, begin in zip(ends[1:], begins, strict=False))
    longer = all(
        a is not None and b is not None and a < b for a, b in zip(begins, ends, strict=True)
    )
    together = max(meets, back) >= _MEETING_FRAC * (len(begins) - 1)
    return set(others[0].places) if longer and together else set()


def _groups(
    dialect: Dialect, stamp: StampColumns, others: list[StampColumns]
) -> tuple[StampGroup, ...]:
    """Find the groups of columns side by side that have stamps of their own."""
    if not others:
        return ()
    taken = {place for one in (stamp, *others) for place in one.places}
    read = [[stamp_of(one, list(row)) for row in dialect.samples] for one in (stamp, *others)]
    values = [place for place in range(len(dialect.heads)) if place not in taken]
    return groups_of(stamp, others, read, values)


def nothing_known(name: str, dialect: Dialect, layout: Layout) -> LogError:
    """Say that no column can be used, and what would help."""
    heads = [*(column.head for column in layout.open), *layout.ignored]
    return LogError(
        "no column of this log is known "
        f"(found: {', '.join(quoted(head) for head in heads[:12]) or 'none'}); "
        "map them under [log.columns] in the site file or a map",
        file=name,
        line=dialect.header_line,
    )


def column_key(dialect: Dialect, place: int) -> str:
    """Give what names a column in a map: its head where it has one of its own, else its number."""
    head = dialect.heads[place]
    return head if head and not dialect.is_shared(place) else str(place + 1)


def nameless_key(number: int) -> str:
    """Give what names the n-th column in a map for files that give it no name of its own.

    A bare number means that column of every file, whatever its head says.
    """
    return f"column {number}"


def entry_key(head: str) -> str:
    """Give what two names of a column in maps have in common where they mean the same one."""
    folded = _folded(head)
    number = folded.removeprefix("column ")
    return number if number.isdigit() else folded


def meanings_of(dialect: Dialect, told: LogMap) -> dict[int, tuple[ColumnMeaning, str]]:
    """Give what is known of columns by their place: the meaning, and `map` or `header`."""
    by_head = {_folded(head): meaning for head, meaning in told.columns}
    exact = dict(told.columns)
    often: Mapping[str, int] = Counter(dialect.heads)
    meanings: dict[int, tuple[ColumnMeaning, str]] = {}
    for place, head in enumerate(dialect.heads):
        numbered = exact.get(str(place + 1))
        if not head or often[head] > 1:
            numbered = exact.get(nameless_key(place + 1)) or numbered
        meaning = exact.get(head) if head else None
        if meaning is None and head:
            meaning = by_head.get(_folded(head))
        if meaning is None or (numbered is not None and often[head] > 1):
            meaning = numbered or meaning
        if meaning is not None:
            meanings[place] = (meaning, "map")
        elif head:
            meaning = meaning_by_head(head)
            if meaning is not None:
                meanings[place] = (meaning, "header")
    return meanings


def _folded(head: str) -> str:
    return " ".join(head.split()).lower()


def meaning_by_head(head: str) -> ColumnMeaning | None:
    """Know a tidy column head, or a channel name with its unit in brackets."""
    tidy = channel_of_tidy(head)
    if tidy is not None:
        return ColumnMeaning(channel=tidy.name, unit=None)
    match = _NAMED_WITH_UNIT.fullmatch(head[:LONGEST_HEAD].strip())
    if match is None or len(head) > LONGEST_HEAD:
        return None
    found = channel(match["name"].strip().lower().replace(" ", "_"))
    if found is None or unit_named(quantity=found.quantity, unit=match["unit"]) is None:
        return None
    return ColumnMeaning(channel=found.name, unit=match["unit"])


def known_column(
    name: str,
    dialect: Dialect,
    place: int,
    found: Channel,
    meaning: ColumnMeaning,
    *,
    source: str,
) -> Column:
    """Give a column whose meaning is known; LogError where the unit is not one of its channel."""
    head = dialect.heads[place] or f"column {place + 1}"
    cell_unit = _cell_unit(dialect, place)
    printed = meaning.unit
    if printed is None and cell_unit and source != "map":
        printed = cell_unit
    unit = unit_named(quantity=found.quantity, unit=printed)
    if unit is None:
        raise LogError(
            f"the unit {quoted(str(printed))} is not one of {found.name}", file=name, column=head
        )
    words = found.quantity == "share" and _has_words(dialect, place)
    says = printed or ("0..1 or 0..100, told by the values" if unit.share_unsure else found.unit)
    return Column(
        place=place,
        head=head,
        channel=found,
        unit=unit,
        unit_says=says,
        words=words,
        cell_unit=cell_unit,
        source=source,
        numbers=_numbers_of(dialect, place),
    )


def open_column(dialect: Dialect, place: int) -> Column | None:
    """Give a column that nobody explains if it holds numbers or switches; None for words."""
    cells = [row[place].strip() for row in dialect.samples]
    held = [cell for cell in cells if cell.lower() not in MISSING_FOLDED]
    known = sum(looks_like_number(cell) or cell.lower() in WORDS for cell in held)
    if not held and not dialect.heads[place]:
        return None
    if known * 2 < len(held):
        return None
    return Column(
        place=place,
        head=dialect.heads[place] or f"column {place + 1}",
        channel=None,
        unit=Unit(),
        unit_says=dialect.headers.units[place] or _cell_unit(dialect, place),
        words=_has_words(dialect, place),
        cell_unit=_cell_unit(dialect, place),
        numbers=_numbers_of(dialect, place),
    )


def _numbers_of(dialect: Dialect, place: int) -> NumberStyle:
    """Give a column its own decimal sign where all its samples prove another than the file's."""
    usual = dialect.numbers
    if usual.open or not dialect.two_signs:
        return usual
    point, comma, _ = decimal_evidence([row[place] for row in dialect.samples])
    if usual.decimal == "," and point and not comma:
        return NumberStyle(decimal=".")
    if usual.decimal == "." and comma and not point:
        return NumberStyle(decimal=",")
    return usual


def _has_words(dialect: Dialect, place: int) -> bool:
    return any(row[place].strip().lower() in WORDS for row in dialect.samples)


def _cell_unit(dialect: Dialect, place: int) -> str:
    """Give the unit that stands in most cells of a column, "" where they are bare numbers."""
    split = [split_unit(row[place]) for row in dialect.samples]
    units = Counter(one[1] for one in split if one is not None)
    held = sum(row[place].strip().lower() not in MISSING_FOLDED for row in dialect.samples)
    if not units or sum(units.values()) * 2 < held:
        return ""
    return units.most_common(1)[0][0]
