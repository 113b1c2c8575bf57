"""Which column of a file holds what, and in which columns the stamp stands."""

import re
from dataclasses import dataclass

from analysis.channels import Channel, channel, channel_of_tidy
from analysis.errors import LogError
from analysis.logs.conversions import Unit, time_unit_s, unit_named
from analysis.logs.dialect import WORDS, Dialect
from analysis.logs.shapes import quoted
from analysis.logs.stamp_formats import format_of, format_told, looks_like_time_of_day
from analysis.logs.stamps import StampFormat
from analysis.site import ColumnMeaning, LogMap

_NAMED_WITH_UNIT = re.compile(r"(?P<name>.+?)\s*[\[(](?P<unit>[^\])]+)[\])]")
# Words for the stamp column, where no column is called `time` (common practice, no source).
_TIME_HEADS = {"time", "timestamp", "datetime", "date time", "date/time", "date_time", "utc"}
_TIME_HEADS |= {"zeit", "zeitstempel", "datum/zeit", "datum zeit", "epoch", "unix", "unixtime"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column of values.

    `words` tells that it is written in words such as on and off.
    """

    place: int
    head: str
    channel: Channel
    unit: Unit
    unit_says: str
    words: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StampColumns:
    """Where the stamp stands.

    Attributes
    ----------
    places : one column, or those of the date and of the time of day
    formats : one format; or a pair, day first and month first, that only the whole file can tell
    count_s : length of the unit of a column that counts [s], None for written stamps
    """

    places: tuple[int, ...]
    head: str
    formats: tuple[StampFormat, ...]
    count_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """What the columns of a file hold."""

    stamp: StampColumns
    columns: tuple[Column, ...]
    ignored: tuple[str, ...]


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
        Stamp, columns in use and heads of the others.

    Raises
    ------
    LogError
        No column for the time, none that is known, or one channel in two columns.
    """
    meanings = _meanings(name, dialect, told)
    stamp = _stamp_columns(name, dialect, told, meanings)
    columns: dict[str, Column] = {}
    ignored = []
    for place, head in enumerate(dialect.heads):
        if place in stamp.places:
            continue
        meaning = meanings.get(place)
        found = channel(meaning.channel) if meaning is not None else None
        if meaning is None or found is None:
            if head or any(row[place].strip() for row in dialect.samples):
                ignored.append(head or f"column {place + 1}")
            continue
        if found.name in columns:
            raise LogError(
                f"{quoted(columns[found.name].head)} and {quoted(head)} both hold {found.name}; "
                f"name one {found.name}_2, or map them under [log.columns]",
                file=name,
            )
        columns[found.name] = _column(name, dialect, place, found, meaning)
    if not columns:
        raise LogError(
            "no column of this log is known "
            f"(found: {', '.join(quoted(head) for head in ignored[:12]) or 'none'}); "
            "map them under [log.columns] in the site file or a map",
            file=name,
            line=dialect.header_line,
        )
    return Layout(stamp=stamp, columns=tuple(columns.values()), ignored=tuple(ignored))


def _meanings(name: str, dialect: Dialect, told: LogMap) -> dict[int, ColumnMeaning]:
    by_head = {_folded(head): meaning for head, meaning in told.columns}
    exact = dict(told.columns)
    meanings: dict[int, ColumnMeaning] = {}
    for place, head in enumerate(dialect.heads):
        meaning = exact.get(head) if head else None
        if meaning is None and head:
            meaning = by_head.get(_folded(head))
        if meaning is None:
            meaning = exact.get(str(place + 1))
        if meaning is None and head:
            meaning = _by_header(head)
        if meaning is not None:
            meanings[place] = meaning
    return meanings


def _folded(head: str) -> str:
    return " ".join(head.split()).lower()


def _by_header(head: str) -> ColumnMeaning | None:
    """Know a tidy column head, or a channel name with its unit in brackets."""
    tidy = channel_of_tidy(head)
    if tidy is not None:
        return ColumnMeaning(channel=tidy.name, unit=None)
    match = _NAMED_WITH_UNIT.fullmatch(head.strip())
    if match is None:
        return None
    found = channel(match["name"].strip().lower().replace(" ", "_"))
    if found is None or unit_named(quantity=found.quantity, unit=match["unit"]) is None:
        return None
    return ColumnMeaning(channel=found.name, unit=match["unit"])


def _column(
    name: str, dialect: Dialect, place: int, found: Channel, meaning: ColumnMeaning
) -> Column:
    unit = unit_named(quantity=found.quantity, unit=meaning.unit)
    head = dialect.heads[place] or f"column {place + 1}"
    if unit is None:
        raise LogError(
            f"the unit {quoted(str(meaning.unit))} is not one of {found.name}",
            file=name,
            column=head,
        )
    words = found.quantity == "share" and any(
        row[place].strip().lower() in WORDS for row in dialect.samples
    )
    says = meaning.unit or (
        "0..1 or 0..100, told by the values" if unit.share_unsure else found.unit
    )
    return Column(place=place, head=head, channel=found, unit=unit, unit_says=says, words=words)


def _stamp_columns(
    name: str, dialect: Dialect, told: LogMap, meanings: dict[int, ColumnMeaning]
) -> StampColumns:
    said = {meaning.channel: place for place, meaning in meanings.items()}
    if "time" in said:
        return _told_time(name, dialect, told, said["time"], meanings)
    if "date" in said and "time_of_day" in said:
        return _joined(name, dialect, told, (said["date"], said["time_of_day"]))
    free = [place for place in range(len(dialect.heads)) if place not in meanings]
    free.sort(key=lambda place: (dialect.heads[place].strip().lower() not in _TIME_HEADS, place))
    for place in free:
        found = _written(dialect, told, place, free)
        if found is None and dialect.heads[place].strip().lower() in _TIME_HEADS:
            found = _counted(dialect, place)
        if found is not None:
            return _perhaps_joined(dialect, told, found, free)
    if free and dialect.heads[free[0]].strip().lower() in _TIME_HEADS:
        raise _unknown_time(name, dialect, (free[0],), _head(dialect, free[0]))
    raise LogError(
        "no column holds the time; call it time, or map it: "
        '"its header" = { channel = "time" } under [log.columns]',
        file=name,
        line=dialect.header_line,
    )


def _samples(dialect: Dialect, places: tuple[int, ...]) -> list[str]:
    return [" ".join(row[place].strip() for place in places) for row in dialect.samples]


def _head(dialect: Dialect, place: int) -> str:
    return dialect.heads[place] or f"column {place + 1}"


def _formats(told: LogMap, samples: list[str]) -> tuple[StampFormat, ...] | None:
    if told.time_format is not None:
        one = format_told(told.time_format)
        return (one,) if any(one.one(sample) is not None for sample in samples) else None
    found = format_of(samples)
    if found is None:
        return None
    return found if isinstance(found, tuple) else (found,)


def _written(dialect: Dialect, told: LogMap, place: int, free: list[int]) -> StampColumns | None:
    """Know a column of stamps; with a format told, two columns that only together have it."""
    head = _head(dialect, place)
    samples = _samples(dialect, (place,))
    # A column of plain numbers, such as 20250101, is no column of stamps unless it is called so.
    if dialect.heads[place].strip().lower() not in _TIME_HEADS and all(
        sample.isdigit() for sample in samples
    ):
        return None
    formats = _formats(told, samples)
    if formats is not None:
        return StampColumns(places=(place,), head=head, formats=formats)
    if told.time_format is None or place + 1 not in free:
        return None
    formats = _formats(told, _samples(dialect, (place, place + 1)))
    if formats is None:
        return None
    return StampColumns(places=(place, place + 1), head=head, formats=formats)


def _counted(dialect: Dialect, place: int) -> StampColumns | None:
    """Know epoch seconds and milliseconds of the years 2001 to 2096."""
    numbers = []
    for sample in _samples(dialect, (place,)):
        try:
            numbers.append(float(sample))
        except ValueError:
            return None
    for unit_s in (1.0, 0.001):
        if all(1e9 <= number * unit_s <= 4e9 for number in numbers):
            head = _head(dialect, place)
            return StampColumns(places=(place,), head=head, formats=(), count_s=unit_s)
    return None


def _perhaps_joined(
    dialect: Dialect, told: LogMap, found: StampColumns, free: list[int]
) -> StampColumns:
    """Join a column of bare dates with the clock times that stand right of it."""
    beside = found.places[0] + 1
    dates = _samples(dialect, found.places)
    whole = found.count_s is not None or len(found.places) > 1 or beside not in free
    if whole or any(":" in date for date in dates):
        return found
    if not looks_like_time_of_day([cell.split("Z")[0] for cell in _samples(dialect, (beside,))]):
        return found
    places = (found.places[0], beside)
    formats = _formats(told, _samples(dialect, places))
    if formats is None:
        return found
    return StampColumns(places=places, head=found.head, formats=formats)


def _joined(name: str, dialect: Dialect, told: LogMap, places: tuple[int, int]) -> StampColumns:
    head = _head(dialect, places[0])
    formats = _formats(told, _samples(dialect, places))
    if formats is None:
        raise _unknown_time(name, dialect, places, head)
    return StampColumns(places=places, head=head, formats=formats)


def _told_time(
    name: str, dialect: Dialect, told: LogMap, place: int, meanings: dict[int, ColumnMeaning]
) -> StampColumns:
    head = _head(dialect, place)
    unit = meanings[place].unit
    if unit is not None:
        return StampColumns(
            places=(place,), head=head, formats=(), count_s=time_unit_s(unit) or 1.0
        )
    free = [other for other in range(len(dialect.heads)) if other not in meanings]
    found = _written(dialect, told, place, free)
    if found is not None:
        return _perhaps_joined(dialect, told, found, free)
    counted = _counted(dialect, place)
    if counted is None:
        raise _unknown_time(name, dialect, (place,), head)
    return counted


def _unknown_time(name: str, dialect: Dialect, places: tuple[int, ...], head: str) -> LogError:
    example = next(iter(_samples(dialect, places)), "")
    return LogError(
        f"the time is written in a way that is not known: {quoted(example)}; tell it in [log], "
        'such as time_format = "%d.%m.%Y %H:%M"',
        file=name,
        line=dialect.first_line,
        column=head,
    )
