"""In which columns the stamp stands, and how it is written."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

from analysis.errors import LogError
from analysis.logs.asking import Choice, Question
from analysis.logs.conversions import time_unit_s
from analysis.logs.dialect import Dialect
from analysis.logs.shapes import quoted
from analysis.logs.stamp_formats import (
    bare_clock_format_of,
    format_of,
    format_told,
    looks_like_time_of_day,
    order_of,
    seconds_format_of,
)
from analysis.logs.stamp_parts import PARTS, PartsFound, parts_by_heads, parts_by_rows, parts_told
from analysis.logs.stamps import StampFormat
from analysis.site import ColumnMeaning, LogMap
from analysis.units import SECONDS_PER_DAY

# Words for the stamp column (trade words; common practice, no source).
_TIME_WORDS = (
    "time timestamp datetime date date_time utc zeit zeitstempel datum epoch unix unixtime "
    "uhrzeit zeitpunkt heure horodatage fecha hora data ora tijd tijdstip jour day tag dag "
    "giorno dia día ts stamp when clock"
)
_TIME_HEADS = frozenset(_TIME_WORDS.split())
_UTC_HEAD = re.compile(r"(?<![A-Za-z])(?:UTC|GMT)(?![A-Za-z+\-\d])", re.IGNORECASE)
_WORD = re.compile(r"[^\W\d_]+")
# 2001 to 2096 in seconds, and 1990 to 2100 in days since the day that spreadsheets count from.
_EPOCH_SPAN_S = (1e9, 4e9)
EARLIEST_S, LATEST_S = 631_152_000, 4_102_444_800  # 1990 and 2100, UTC
_SHEET_SPAN_D = (32_874.0, 73_050.0)
_SHEET_ORIGIN_S = -25_569 * int(SECONDS_PER_DAY)
_COMPACT_DIGITS = {len("202506011401"), len("20250601140109")}
STAMP_CHANNELS = frozenset(("time", "date", "time_of_day", *PARTS))
_COUNTS = (("s", 1.0), ("ms", 1e-3), ("µs", 1e-6), ("ns", 1e-9))


@dataclass(frozen=True, slots=True, kw_only=True)
class StampColumns:
    """Where the stamp stands.

    Attributes
    ----------
    places : one column, or those of the date and of the time of day
    formats : one format; or several orders of day and month that only the whole file can tell
    count_s : length of the unit of a column that counts [s], None for written stamps
    origin_s : epoch seconds that such a column counts from [s]
    wall : whether it counts on the wall clock, as spreadsheets do, and not in UTC
    zone : zone that the header names, None where it names none
    """

    places: tuple[int, ...]
    head: str
    formats: tuple[StampFormat, ...]
    count_s: float | None = None
    origin_s: int = 0
    wall: bool = False
    zone: str | None = None

    @property
    def aware(self) -> bool:
        """Whether a stamp alone tells its instant."""
        return not self.wall if self.count_s is not None else self.formats[0].aware

    @property
    def says(self) -> str:
        """How the time is written, in plain words."""
        if self.count_s is None:
            return " or ".join(one.says for one in self.formats)
        if self.wall:
            return "days since 30 December 1899, as spreadsheets count"
        return f"time counted in steps of {self.count_s:g} s"


def find_stamp_columns(
    name: str, dialect: Dialect, told: LogMap, meanings: Mapping[int, ColumnMeaning]
) -> StampColumns:
    """Find where the stamp stands and how it is written.

    Parameters
    ----------
    name : str
        File name, for messages.
    dialect : Dialect
        How the file is written.
    told : LogMap
        What the site file or map says; it goes before what is found.
    meanings : mapping of int to ColumnMeaning
        Places of columns whose meaning is known.

    Returns
    -------
    StampColumns
        The column or columns.

    Raises
    ------
    LogError
        No column holds the time, or it is written in a way that is not known.
    """
    said = {meaning.channel: place for place, meaning in meanings.items()}
    finder = _Finder(name=name, dialect=dialect, told=told, meanings=meanings)
    if "time" in said:
        return finder.told_time(said["time"])
    if "date" in said and "time_of_day" in said:
        return finder.joined((said["date"], said["time_of_day"]))
    parts = parts_told(said, dialect.samples)
    if parts is not None:
        return finder.of_parts(parts)
    return finder.found()


def further_stamps(
    name: str,
    dialect: Dialect,
    told: LogMap,
    meanings: Mapping[int, ColumnMeaning],
    first: StampColumns,
) -> list[StampColumns]:
    """Find other columns of stamps, written as the first are; none where a map tells the time."""
    if any(meaning.channel in STAMP_CHANNELS for meaning in meanings.values()):
        return []
    finder = _Finder(
        name=name, dialect=dialect, told=told, meanings=meanings, taken=frozenset(first.places)
    )
    found: list[StampColumns] = []
    for place in range(len(dialect.heads)):
        if place not in finder._free():
            continue
        one = (
            finder._counted(place, titled=finder._titled(place))
            if first.count_s is not None
            else finder._written(place)
        )
        one = one if one is None or first.count_s is not None else finder._perhaps_joined(one)
        if one is None or len(one.places) != len(first.places):
            continue
        if (one.formats, one.count_s, one.wall) == (first.formats, first.count_s, first.wall):
            found.append(one)
            finder = replace(finder, taken=finder.taken | set(one.places))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Finder:
    name: str
    dialect: Dialect
    told: LogMap
    meanings: Mapping[int, ColumnMeaning]
    taken: frozenset[int] = frozenset()

    def found(self) -> StampColumns:
        free = self._free()
        titled = [place for place in free if self._titled(place)]
        # A stamp that stays the same is that of the export, unless it is the only one.
        still = {place for place in free if len(set(self._samples((place,)))) < 2}
        ordered = (*titled, *(place for place in free if place not in titled))
        fallback: StampColumns | None = None
        for place in ordered:
            one = self._written(place)
            one = None if one is None else self._perhaps_joined(one)
            if one is not None and not still.issuperset(one.places):
                return one
            fallback = fallback or one
        if fallback is not None:
            return fallback
        for place in titled:
            one = self._counted(place, titled=True)
            if one is not None:
                return one
        parts = parts_by_heads(self.dialect.heads, free, self.dialect.samples)
        if parts is not None:
            return self.of_parts(parts)
        for place in free:
            one = self._counted(place, titled=False)
            if one is not None:
                return one
        if not any(self.dialect.heads):
            orders = parts_by_rows(free, self.dialect.samples)
            if orders:
                return self._one_order(orders)
        if titled and not looks_like_time_of_day(self._samples((titled[0],))):
            raise self._unknown((titled[0],))
        raise LogError(
            "no column holds the time; call it time, or map it: "
            '"its header" = { channel = "time" } under [log.columns]',
            file=self.name,
            line=self.dialect.header_line,
        )

    def told_time(self, place: int) -> StampColumns:
        unit = self.meanings[place].unit
        if unit is not None:
            return StampColumns(
                places=(place,),
                head=self._head(place),
                formats=(),
                count_s=time_unit_s(unit) or 1.0,
            )
        one = self._written(place)
        if one is not None:
            return self._perhaps_joined(one)
        counted = self._counted(place, titled=True)
        if counted is None:
            raise self._unknown((place,))
        return counted

    def joined(self, places: tuple[int, int]) -> StampColumns:
        samples, unit = self._samples(places), self.meanings[places[1]].unit
        seconds = unit is not None and time_unit_s(unit) == 1.0
        formats = seconds_format_of(samples) if seconds else self._formats(samples)
        if formats is None:
            formats = bare_clock_format_of(samples)
        if formats is None:
            raise self._unknown(places)
        return self._of(places, self._in_told_order(formats))

    def of_parts(self, parts: PartsFound) -> StampColumns:
        return self._of(parts.places, (parts.format,))

    def _one_order(self, orders: list[PartsFound]) -> StampColumns:
        """Take the order that the map tells, or the only one; else it is asked."""
        told = self.told.date_order
        left = [one for one in orders if told in (None, order_of(one.format))]
        if len(left) == 1:
            return self.of_parts(left[0])
        columns = self.of_parts(orders[0])
        question = Question(
            kind="date_order",
            file=self.name,
            subject="",
            choices=tuple(
                Choice(
                    value=order_of(one.format),
                    says=f"{one.format.says}",
                    certainty_frac=1.0 / len(orders),
                )
                for one in orders
            ),
            why=f"its first columns, such as {self._samples(columns.places)[0]}, can be dates in "
            "more than one order",
        )
        choices = " or ".join(f'date_order = "{one.value}"' for one in question.choices)
        raise LogError(
            f"{question.why}; tell which in [log]: {choices}",
            file=self.name,
            line=self.dialect.first_line,
            questions=(question,),
        )

    def _of(self, places: tuple[int, ...], formats: tuple[StampFormat, ...]) -> StampColumns:
        heads = " ".join(self.dialect.heads[place] for place in places)
        units = " ".join(self.dialect.headers.units[place] for place in places)
        zone = "UTC" if _UTC_HEAD.search(f"{heads} {units}") else None
        return StampColumns(places=places, head=self._head(places[0]), formats=formats, zone=zone)

    def _free(self) -> list[int]:
        every = range(len(self.dialect.heads))
        return [place for place in every if place not in self.meanings and place not in self.taken]

    def _titled(self, place: int) -> bool:
        words = _WORD.findall(self.dialect.heads[place].lower().replace("_", " "))
        return bool(words) and words[0] in _TIME_HEADS

    def _samples(self, places: tuple[int, ...]) -> list[str]:
        return [" ".join(row[place].strip() for place in places) for row in self.dialect.samples]

    def _head(self, place: int) -> str:
        return self.dialect.heads[place] or f"column {place + 1}"

    def _formats(self, samples: list[str]) -> tuple[StampFormat, ...] | None:
        if self.told.time_format is not None:
            one = format_told(self.told.time_format)
            return (one,) if any(one.one(sample) is not None for sample in samples) else None
        found = format_of(samples)
        if found is None:
            return None
        return self._in_told_order(found if isinstance(found, tuple) else (found,))

    def _in_told_order(self, family: tuple[StampFormat, ...]) -> tuple[StampFormat, ...]:
        order = self.told.date_order
        return tuple(one for one in family if order is None or order_of(one) == order) or family

    def _written(self, place: int) -> StampColumns | None:
        """Know a column of stamps; with a format told, two that only together have it."""
        samples = self._samples((place,))
        # A column of plain numbers, such as 20250101, is no column of stamps unless called so.
        digits = {len(sample) if sample.isdigit() else 0 for sample in samples}
        if not self._titled(place) and 0 not in digits and not digits <= _COMPACT_DIGITS:
            return None
        formats = self._formats(samples)
        if formats is not None:
            return self._of((place,), formats)
        if self.told.time_format is None or place + 1 not in self._free():
            return None
        formats = self._formats(self._samples((place, place + 1)))
        return None if formats is None else self._of((place, place + 1), formats)

    def _counted(self, place: int, *, titled: bool) -> StampColumns | None:
        """Know epoch seconds and their parts, and the day numbers of spreadsheets."""
        numbers = []
        for sample in self._samples((place,)):
            value = self.dialect.numbers.value(sample)
            if value is None:
                return None
            numbers.append(value)
        ordered = sorted(numbers) in (numbers, numbers[::-1]) and numbers[0] != numbers[-1]
        if not titled and not ordered:
            return None
        head = self._head(place)
        if self.told.time_origin is None:
            for _, unit_s in _COUNTS:
                if all(
                    _EPOCH_SPAN_S[0] <= number * unit_s <= _EPOCH_SPAN_S[1] for number in numbers
                ):
                    return StampColumns(places=(place,), head=head, formats=(), count_s=unit_s)
        in_days = all(_SHEET_SPAN_D[0] <= number <= _SHEET_SPAN_D[1] for number in numbers)
        if in_days and (titled or any(number % 1 for number in numbers)):
            return StampColumns(
                places=(place,),
                head=head,
                formats=(),
                count_s=SECONDS_PER_DAY,
                origin_s=_SHEET_ORIGIN_S,
                wall=True,
            )
        return None

    def _perhaps_joined(self, found: StampColumns) -> StampColumns:
        """Join a column of bare dates with the clock times that stand beside it."""
        place = found.places[0]
        dates = self._samples(found.places)
        if len(found.places) > 1 or any(":" in date for date in dates):
            return found
        free = self._free()
        near = [one for one in (place + 1, place - 1) if one in free]
        titled = [one for one in free if one != place and one not in near and self._titled(one)]
        for beside in (*near, *titled):
            if looks_like_time_of_day(self._samples((beside,))):
                formats = self._formats(self._samples((place, beside)))
                if formats is not None:
                    return self._of((place, beside), formats)
        for beside in (one for one in (*near, *titled) if self._titled(one)):
            formats = bare_clock_format_of(self._samples((place, beside)))
            if formats is not None and self.told.time_format is None:
                return self._of((place, beside), self._in_told_order(formats))
        return found

    def _unknown(self, places: tuple[int, ...]) -> LogError:
        example = next(iter(self._samples(places)), "")
        return LogError(
            f"the time is written in a way that is not known: {quoted(example)}; tell it in "
            '[log], such as time_format = "%d.%m.%Y %H:%M"',
            file=self.name,
            line=self.dialect.first_line,
            column=self._head(places[0]),
        )


def stamp_of(stamp: StampColumns, cells: list[str]) -> int | None:
    """Read the stamp of one row: seconds as `Part` holds them, or None [s]."""
    if max(stamp.places) >= len(cells):
        return None
    text = " ".join(cells[place].strip() for place in stamp.places)
    if stamp.count_s is None:
        return next((at for one in stamp.formats if (at := one.one(text)) is not None), None)
    try:
        value = float(text.replace(",", ".")) * stamp.count_s + stamp.origin_s
    except ValueError:
        return None
    return math.floor(value + 0.5) if abs(value) < LATEST_S else None
