"""One file: from bytes to values in canonical units on UTC stamps, in the order of its rows."""

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from analysis.errors import LogError
from analysis.logs.blocks import BlockReader
from analysis.logs.conversions import converted
from analysis.logs.dialect import DELIMITER_NAMES, Dialect, find_dialect
from analysis.logs.layout import Column, Layout, find_layout
from analysis.logs.rows import EARLIEST_S, LATEST_S, Part, RowReader
from analysis.logs.shapes import ColumnRead, FileRead, LogSource, ProblemList
from analysis.logs.stamp_formats import proven
from analysis.logs.stamps import StampFormat
from analysis.logs.text import clean_text
from analysis.logs.walltime import DOUBLED_HOUR, GOOD, MISSING_HOUR, utc_from_wall
from analysis.site import LogMap
from analysis.units import SECONDS_PER_DAY

_DAY_PART = re.compile(rb"(?<![\d/-])(\d{1,2}[/-]\d{1,2}[/-]\d{4})(?!\d)")
_SPOT, _SPOTS = 2048, 200


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FileValues:
    """What one file holds, rows in the order of the file, nothing merged yet.

    Attributes
    ----------
    stamp_s : UTC epoch seconds as stamped [s]
    values : channel to values [canonical unit, mass flows in kg/min, unsure shares as written]
    unsure : channels of shares whose scale only all the values tell
    mass_flows : channels of flow that still need the fluid's density
    """

    stamp_s: NDArray[np.int64]
    values: dict[str, NDArray[np.float64]]
    unsure: frozenset[str]
    mass_flows: frozenset[str]
    read: int
    account: FileRead


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What the caller knows of a log before reading it."""

    log_map: LogMap
    zone: str
    now_s: int | None
    stamp: Literal["end", "start"]


def read_file(
    source: LogSource, *, told: Told, problems: ProblemList, hints: dict[str, StampFormat]
) -> FileValues:
    """Read one file.

    Parameters
    ----------
    source : LogSource
        Name and bytes.
    told : Told
        Map, zone of the logger's clock, present time [s].
    problems : ProblemList
        Takes what could not be used.
    hints : dict
        Day first or month first, as other files of the same header proved it; added to.

    Returns
    -------
    FileValues
        Values in canonical units on UTC stamps.

    Raises
    ------
    LogError
        Nothing usable is in the file.
    """
    text, encoding = clean_text(source.name, source.data)
    dialect = find_dialect(source.name, text, told.log_map)
    if dialect.delimiter == " ":
        text = _single_blanks(text)
        dialect = find_dialect(source.name, text, replace(told.log_map, delimiter=" "))
    layout = find_layout(source.name, dialect, told.log_map)
    layout = _settled(source.name, text, dialect, layout, hints)
    rows = RowReader(file=source.name, dialect=dialect, layout=layout, problems=problems)
    before = problems.total
    parts = BlockReader(rows=rows).read(text)
    read = sum(part.read for part in parts)
    joined = _joined(parts, read)
    del parts, text
    joined = _on_utc(source.name, joined, layout, told, problems)
    if not len(joined.stamp_s):
        raise _nothing_left(source.name, problems, before)
    return _canonical(source.name, joined, layout, dialect, told, encoding)


def _single_blanks(text: bytes) -> bytes:
    """Leave one blank between words and none at the ends of lines; lines stay where they are."""
    text = text.replace(b"\t", b" ").replace(b"\r\n", b"\n")
    while b"  " in text:
        text = text.replace(b"  ", b" ")
    return text.replace(b"\n ", b"\n").replace(b" \n", b"\n").strip(b" ")


def _settled(
    name: str, text: bytes, dialect: Dialect, layout: Layout, hints: dict[str, StampFormat]
) -> Layout:
    """Decide day first or month first where the head of the file left both open."""
    if len(layout.stamp.formats) < 2:
        return layout
    pair = (layout.stamp.formats[0], layout.stamp.formats[1])
    key = f"{layout.stamp.head}|{pair[0].says}"
    days = _days(text, dialect.body_at, _SPOT)
    one = proven(pair, days)
    if one is None:
        days = _days(text, dialect.body_at, len(text))
        one = proven(pair, days) or hints.get(key)
    if one is None:
        example = days[0] if days else ""
        raise LogError(
            f"dates such as {example} can be read as {pair[0].says} and as {pair[1].says}; tell "
            'which in [log]: time_format = "%d/%m/%Y %H:%M" or "%m/%d/%Y %H:%M"',
            file=name,
            line=dialect.first_line,
            column=layout.stamp.head,
        )
    hints[key] = one
    return replace(layout, stamp=replace(layout.stamp, formats=(one,)))


def _days(text: bytes, start: int, size: int) -> list[str]:
    """Give the dates in spots of this size all through a text, each once."""
    found: set[bytes] = set()
    for at in range(start, len(text), max(size, len(text) // _SPOTS)):
        found.update(_DAY_PART.findall(text, at, at + size))
    return sorted(day.decode() for day in found)


def _joined(parts: list[Part], read: int) -> Part:
    if not parts:
        return Part(
            stamp_s=np.zeros(0, dtype=np.int64),
            values=(),
            lines=np.zeros(0, dtype=np.int32),
            read=read,
        )
    width = len(parts[0].values)
    return Part(
        stamp_s=np.concatenate([part.stamp_s for part in parts]),
        values=tuple(
            np.concatenate([part.values[place] for part in parts]) for place in range(width)
        ),
        lines=np.concatenate([part.lines for part in parts]),
        read=read,
    )


def _reversed(part: Part) -> Part:
    """Turn a file written newest first, so that the order of rows can prove the doubled hour."""
    steps = np.sign(np.diff(part.stamp_s))
    if not len(steps) or steps.sum() >= -len(steps) // 2:
        return part
    return replace(
        part,
        stamp_s=part.stamp_s[::-1].copy(),
        values=tuple(values[::-1].copy() for values in part.values),
        lines=part.lines[::-1].copy(),
    )


def _on_utc(name: str, part: Part, layout: Layout, told: Told, problems: ProblemList) -> Part:
    """Bring stamps to UTC and set aside those that are no time a log can hold."""
    head = layout.stamp.head
    part = _reversed(part)
    if layout.stamp.count_s is not None and told.log_map.time_origin is not None:
        part = replace(part, stamp_s=part.stamp_s + int(told.log_map.time_origin.timestamp()))
    real = (part.stamp_s >= EARLIEST_S) & (part.stamp_s < LATEST_S)
    why = "before 1990 or after 2100: the logger's clock was not set (a column that counts from "
    why += "another day needs time_origin in [log])"
    part = _without(name, part, ~real, head, why, problems)
    if layout.stamp.count_s is None and not layout.stamp.formats[0].aware:
        utc_s, state = utc_from_wall(part.stamp_s, zone=told.zone)
        bad = state != GOOD
        remedy = f'say timezone = "UTC" in [log] if its clock does not follow {told.zone}'
        for code, why in (
            (MISSING_HOUR, f"this hour does not exist, the clocks go forward; {remedy}"),
            (DOUBLED_HOUR, f"this hour comes twice and no order of rows tells which; {remedy}"),
        ):
            problems.add_rows(file=name, lines=part.lines[state == code], column=head, why=why)
        part = replace(part, stamp_s=utc_s)
        part = part.of_rows(~bad) if bad.any() else part
    if told.now_s is not None:
        ahead = part.stamp_s > told.now_s + int(SECONDS_PER_DAY)
        why = "in the future: the clock is ahead; set the logger's clock"
        part = _without(name, part, ahead, head, why, problems)
    return part


def _without(
    name: str, part: Part, bad: NDArray[np.bool_], head: str, why: str, problems: ProblemList
) -> Part:
    if not bad.any():
        return part
    problems.add_rows(file=name, lines=part.lines[bad], column=head, why=why)
    return part.of_rows(~bad)


def _nothing_left(name: str, problems: ProblemList, before: int) -> LogError:
    if problems.total == before:
        return LogError("the file holds a header but no rows; export the log again", file=name)
    first = next((one for one in problems.listed if one.file == name), None)
    if first is None:
        return LogError("no row of this log can be read", file=name)
    return LogError(
        f"no row of this log can be read; the first: {first.why}",
        file=name,
        line=first.line,
        column=first.column,
    )


def _canonical(
    name: str, part: Part, layout: Layout, dialect: Dialect, told: Told, encoding: str
) -> FileValues:
    values = {
        column.channel.name: converted(held, column.unit)
        for column, held in zip(layout.columns, part.values, strict=True)
    }
    return FileValues(
        stamp_s=part.stamp_s,
        values=values,
        unsure=_names(column for column in layout.columns if column.unit.share_unsure),
        mass_flows=_names(column for column in layout.columns if column.unit.mass_flow),
        read=part.read,
        account=FileRead(
            name=name,
            rows=len(part.stamp_s),
            first_s=int(part.stamp_s.min()),
            last_s=int(part.stamp_s.max()),
            dialect=_in_words(layout, dialect, told, encoding),
            columns=tuple(
                ColumnRead(head=one.head, channel=one.channel.name, unit=one.unit_says)
                for one in layout.columns
            ),
            ignored=layout.ignored,
        ),
    )


def _names(columns: Iterable[Column]) -> frozenset[str]:
    return frozenset(column.channel.name for column in columns)


def _in_words(layout: Layout, dialect: Dialect, told: Told, encoding: str) -> str:
    stamp = layout.stamp
    sign = "comma" if dialect.decimal == "," else "point"
    header = f"header in line {dialect.header_line}" if dialect.header_line else "no header"
    if stamp.count_s is not None:
        origin: Any = told.log_map.time_origin
        since = origin.isoformat() if origin is not None else "1970-01-01T00:00:00Z"
        time = f"time counted in steps of {stamp.count_s:g} s since {since}"
    elif stamp.formats[0].aware:
        time = f"time as {stamp.formats[0].says}"
    else:
        time = f"time as {stamp.formats[0].says}, clock of {told.zone}"
    delimiter = DELIMITER_NAMES.get(dialect.delimiter, dialect.delimiter)
    return (
        f"{delimiter} separated, decimal {sign}, {header}, {encoding}, {time}, "
        f"stamps at the {told.stamp} of each step"
    )
