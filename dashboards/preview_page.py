"""What stands on the page that shows a log before it counts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.apart import apart_words
from analysis.channels import channel, known_names
from analysis.logs.asking import ColumnUnderstood, Question
from analysis.logs.conversions import UNITS, folded_unit, pulse_units, row_units, unit_named
from analysis.logs.preview import Preview
from analysis.logs.pulses import pulse_size
from analysis.logs.stamp_parts import PARTS
from analysis.meaning.unit_words import find_unit
from analysis.record import Floats, Record, record_from_stamps
from dashboards import format as fmt
from dashboards.figures.day_curves import has_panel
from dashboards.figures.log_preview import (
    left_over_figure,
    lively_days,
    named,
    understood_figure,
    undrawn,
)
from dashboards.read_text import column_losses, how_sure
from dashboards.set_aside_words import set_aside_facts
from dashboards.site_facts import Fact

# Fields of the form for questions about the whole file, and what each decides.
FILE_FIELDS = {
    "date_order": ("date_order", "Dates"),
    "decimal": ("decimal", "Decimal sign"),
    "time_zone": ("timezone", "The logger's clock"),
    "clock": ("clock", "Is the logger's clock right?"),
    "stamp": ("stamp", "Rows of whole days"),
    "table": ("table", "What a row holds"),
    "cells": ("cells", "What an empty cell means"),
}
LEAVE_OUT = "-"
_TIMES = (
    ("time", "date and time"),
    ("date", "the date"),
    ("time_of_day", "the time of day"),
    *((part, f"the {part}, as a part of the time") for part in PARTS),
)
_SECOND = ("collector", "store_bottom", "store_middle", "store_top", "flow", "pump")


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """A choice of a select or a radio button."""

    value: str
    words: str
    chosen: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnLine:
    """A column with what it is taken for."""

    number: int
    key: str
    name: str
    given: str
    values: str
    sure: str
    mood: str
    reasons: tuple[str, ...]
    why: str
    printed: str
    likely: tuple[Option, ...]
    channels: tuple[Option, ...]
    units: tuple[tuple[str, tuple[Option, ...]], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FileQuestion:
    """Something about the whole file that only a person can answer."""

    field: str
    title: str
    why: str
    options: tuple[Option, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PreviewView:
    """The page."""

    says: str
    set_aside: tuple[Fact, ...]
    problem: str | None
    readable: bool
    columns: tuple[ColumnLine, ...]
    questions: tuple[FileQuestion, ...]
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shown: str
    anything: bool
    figure: str
    left_over: str | None
    open_says: str
    time_asked: bool
    families: Mapping[str, str]


def preview_view(
    now: Preview, *, first: Preview, answers: Mapping[str, str], timezone: str
) -> PreviewView:
    """Build the page.

    Parameters
    ----------
    now : the log as the answers make it
    first : the log as nobody has answered yet: reasons and certainty come from there
    answers : what was chosen for the whole file, field to value
    timezone : IANA name of the site's zone
    """
    record = _record(now)
    ranges = _ranges(now, record)
    by_key = {column.key: column for column in now.columns}
    asked = {one.subject: one for one in first.questions if one.kind in ("column", "unit")}
    columns = tuple(
        _column(
            number,
            column,
            now=by_key.get(column.key, column),
            values=ranges.get(column.key, ""),
            question=asked.get(column.key),
            left_out=answers.get(f"channel-{number}") == LEAVE_OUT,
        )
        for number, column in enumerate(_columns(first, now))
    )
    figure, left_over, shown = _figures(now, timezone)
    questions = _file_questions((*first.questions, *now.questions), answers)
    return PreviewView(
        says=_says(now, record, timezone),
        set_aside=() if now.parsed is None else set_aside_facts(now.parsed.set_aside),
        problem=fmt.sentence(now.problem) if now.problem and not questions else None,
        readable=now.parsed is not None,
        columns=columns,
        questions=questions,
        heads=tuple(head or f"column {place}" for place, head in enumerate(first.heads, start=1)),
        rows=first.rows,
        shown=shown,
        anything=now.parsed is not None and any(map(has_panel, now.parsed.columns)),
        figure=figure,
        left_over=left_over,
        open_says=_open_says(columns),
        time_asked=any(question.kind == "time" for question in now.questions),
        families=_families(),
    )


def _open_says(columns: Sequence[ColumnLine]) -> str:
    """Say how many columns still want an answer."""
    count = sum(column.mood == "asked" for column in columns)
    if not count:
        return "Nothing here is open; look whether it is right."
    is_open, them = (
        ("1 is", "it holds, or leave it")
        if count == 1
        else (f"{count} are", "they hold, or leave them")
    )
    return f"Of {fmt.plural(len(columns), 'column')} {is_open} open: choose what {them} out."


def _families() -> dict[str, str]:
    """Give the family of units of each channel that a select offers."""
    found = {}
    for option in _channels(""):
        known = channel(option.value)
        if known is not None:
            found[option.value] = known.quantity
    return found


def _columns(first: Preview, now: Preview) -> Sequence[ColumnUnderstood]:
    """Give the columns in the order of the file; what only now can be read too."""
    known = {column.key: column for column in (*now.columns, *first.columns)}
    if now.parsed is not None and first.parsed is None:
        long = (one.understood.long for one in now.parsed.files if one.understood is not None)
        if any(long):  # what looked like columns were none
            return sorted(now.columns, key=lambda column: column.place)
        known |= {column.key: column for column in now.columns}
    return sorted(known.values(), key=lambda column: column.place)


def _column(
    number: int,
    first: ColumnUnderstood,
    *,
    now: ColumnUnderstood,
    values: str,
    question: Question | None,
    left_out: bool,
) -> ColumnLine:
    chosen = now.meaning
    name = first.head or f"column {first.place + 1}"
    if first.unit_head and first.unit_head not in name:
        name += f" [{first.unit_head}]"
    told = now.source == "map"
    open_one = chosen is None and question is not None and not left_out
    given = ""
    if first.source == "header" and first.meaning is not None:
        given = f"{first.meaning.channel}|{first.meaning.unit or ''}"
    return ColumnLine(
        number=number,
        key=first.key,
        name=name,
        given=given,
        values=values,
        sure="your choice" if told or left_out else _sure(now),
        mood="told" if told else "asked" if open_one else "sure" if chosen else "left",
        reasons=(*first.reasons, *column_losses(now)),
        why=question.why if open_one and question is not None else "",
        printed=_printed(first),
        likely=_likely(question),
        channels=_channels(chosen.channel if chosen is not None else ""),
        units=_units(first, chosen.channel if chosen else "", chosen.unit if chosen else None),
    )


def _sure(column: ColumnUnderstood) -> str:
    words = how_sure(column)
    return {
        "its name": "certain by its name",
        "asked": "not sure",
        "not known": "not known",
    }.get(words, f"{words} sure" if words.endswith("%") else words)


def _likely(question: Question | None) -> tuple[Option, ...]:
    if question is None or question.kind != "column":
        return ()
    return tuple(
        Option(
            value=choice.value,
            words=f"{_channel_words(choice.value)}{_percent(choice.certainty_frac)}",
        )
        for choice in question.choices
        if choice.value
    )


def _percent(frac: float) -> str:
    return "" if frac != frac else f" ({fmt.share(frac)})"


def _channel_words(name: str) -> str:
    known = channel(name)
    return known.says if known is not None else dict(_TIMES).get(name, name)


def _channels(chosen: str) -> tuple[Option, ...]:
    names = [*known_names(), *(f"{name}_2" for name in _SECOND), *(name for name, _ in _TIMES)]
    if chosen and chosen not in names:
        names.append(chosen)
    return tuple(
        Option(value=name, words=_channel_words(name), chosen=name == chosen) for name in names
    )


def _printed(column: ColumnUnderstood) -> str:
    """Give the unit that a head or the line of units prints, folded; "" where none is."""
    return folded_unit(find_unit(column.head, unit_head=column.unit_head).unit or column.unit_head)


def _units(
    column: ColumnUnderstood, chosen: str, unit: str | None
) -> tuple[tuple[str, tuple[Option, ...]], ...]:
    """Give the units of each family, the chosen or printed one marked."""
    known = channel(chosen) if chosen else None
    marked = unit or _printed(column) or None
    if known is not None and unit_named(quantity=known.quantity, unit=marked) is None:
        marked = None
    if known is not None and marked is None and known.quantity != "share":
        marked = known.unit
    return tuple(
        (
            quantity,
            tuple(
                Option(
                    value=name,
                    words=unit_words(name),
                    chosen=known is not None
                    and known.quantity == quantity
                    and unit_named(quantity=quantity, unit=marked)
                    == (units[name] if name in units else unit_named(quantity=quantity, unit=name))
                    and bool(marked) == bool(name),
                )
                for name in (*units, *_pulses(quantity, marked))
            ),
        )
        for quantity, units in UNITS.items()
    )


def _pulses(quantity: str, marked: str | None) -> tuple[str, ...]:
    """Give amounts of a pulse or a row to choose from, the one that holds among them."""
    sizes = (*pulse_units(quantity), *row_units(quantity))
    if not sizes or marked is None or pulse_size(folded_unit(marked)) is None:
        return sizes
    return tuple(dict.fromkeys((*sizes, marked)))


_UNIT_WORDS = {
    "0.1c": "0.1 °C (653 is 65.3 °C)", "0.01c": "0.01 °C", "0.1f": "0.1 °F", "0.1k": "0.1 K",
    "c": "°C", "f": "°F", "k": "K", "w": "W", "kw": "kW", "w/m2": "W/m²", "kw/m2": "kW/m²",
    "m3/h": "m³/h", "m3": "m³", "kwh": "kWh", "wh": "Wh", "mwh": "MWh", "mj": "MJ", "gj": "GJ",
    "kpa": "kPa", "": "told by the values",
}  # fmt: skip


def unit_words(name: str) -> str:
    """Give a unit of a log as it is printed; one without printed words as it stands."""
    return _UNIT_WORDS.get(name, name)


def _file_questions(
    questions: Sequence[Question], answers: Mapping[str, str]
) -> tuple[FileQuestion, ...]:
    found: dict[str, FileQuestion] = {}
    for question in questions:
        if question.kind not in FILE_FIELDS:
            continue
        field, title = FILE_FIELDS[question.kind]
        if field in found:
            continue
        found[field] = FileQuestion(
            field=field,
            title=title,
            why=fmt.sentence(question.why),
            options=tuple(
                Option(
                    value=choice.value,
                    words=choice.says,
                    chosen=answers.get(field) == choice.value,
                )
                for choice in question.choices
            ),
        )
    return tuple(found.values())


def _record(now: Preview) -> Record | None:
    parsed = now.parsed
    if parsed is None:
        return None
    return record_from_stamps(
        stamp_s=parsed.stamp_s, columns=dict(parsed.columns), stamp=parsed.stamp
    )


def _says(now: Preview, record: Record | None, timezone: str) -> str:
    parsed = now.parsed
    if parsed is None or record is None:
        return ""
    first_s, last_s = int(parsed.stamp_s[0]), int(parsed.stamp_s[-1])
    said = (
        f"{fmt.plural(parsed.rows.read, 'row')} from {fmt.moment(first_s, timezone)} to "
        f"{fmt.moment(last_s, timezone)}, the time at the site"
    )
    if parsed.problems:
        said += f"; {fmt.plural(parsed.problems, 'row or cell', 'rows and cells')} set aside"
    more = (parsed.files[0].dialect, *apart_words(record))
    return " ".join((f"{said}.", *(fmt.sentence(one) for one in more)))


def _ranges(now: Preview, record: Record | None) -> dict[str, str]:
    """Give the span of values of each column, in its unit where that is known."""
    parsed = now.parsed
    if parsed is None or record is None:
        return {}
    found = {key: _range(values, "") for key, values in parsed.open_columns.items()}
    for column in now.columns:
        known = channel(column.meaning.channel) if column.meaning is not None else None
        values = None if known is None else record.get(known.name)
        if known is not None and values is not None:
            found[column.key] = _range(values, known.unit)
    return found


def _range(values: Floats, unit: str) -> str:
    held = values[np.isfinite(values)]
    if not held.shape[0]:
        return "no values"
    low, high = (fmt.number(float(edge), decimals=1) for edge in (held.min(), held.max()))
    return f"{low} to {high} {unit}".rstrip()


def _figures(now: Preview, timezone: str) -> tuple[str, str | None, str]:
    parsed = now.parsed
    if parsed is None:
        return '{"data":[],"layout":{"height":160}}', None, ""
    everything = {**parsed.columns, **parsed.open_columns}
    first, last = lively_days(parsed.stamp_s, everything)
    stamp_s = parsed.stamp_s[first:last]
    known = {name: values[first:last] for name, values in parsed.columns.items()}
    left = {key: values[first:last] for key, values in parsed.open_columns.items()}
    names = {column.key: column.head or f"column {column.place + 1}" for column in now.columns}
    others = undrawn(known)
    left_over = left_over_figure(
        stamp_s,
        {**left, **others},
        names={**names, **{name: named(name) for name in others}},
        timezone=timezone,
    )
    shown = fmt.span(int(stamp_s[0]), int(stamp_s[-1]) + 1, timezone)
    return (
        understood_figure(stamp_s, known, stamp=parsed.stamp, timezone=timezone).to_json(),
        left_over.to_json() if left_over is not None else None,
        shown,
    )
