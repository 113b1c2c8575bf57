"""What was understood of logs, for a terminal: 80 columns, words that a fitter uses."""

import textwrap
from collections.abc import Iterator, Mapping, Sequence

from analysis.channels import channel
from analysis.logs.asking import ColumnUnderstood, Question
from analysis.logs.proposed_map import columns_of
from analysis.logs.shapes import FileRead
from analysis.problem_groups import ProblemGroup
from analysis.site import LogMap
from analysis.sitefile_write import map_to_toml, toml_value
from dashboards import format as fmt
from dashboards.logs_text import printable
from dashboards.set_aside_words import set_aside_facts

_WIDTH = 78
_HEAD, _HOLDS, _UNIT = 22, 29, 10
_LISTED = 20
_LETTERS = "abcdefghijklmnopqrstuvwxyz"
DELIMITER_WORDS = {
    ";": "semicolons between columns",
    ",": "commas between columns",
    "\t": "tabs between columns",
    "|": "upright strokes between columns",
    " ": "blanks between columns",
}
# The key of `[log]` that answers a question of each kind.
_ANSWERS = {
    "date_order": "date_order",
    "time_zone": "timezone",
    "decimal": "decimal",
    "stamp": "stamp",
    "table": "table",
    "cells": "cells",
}


def read_text(
    files: Sequence[FileRead],
    *,
    ranges: Mapping[str, tuple[float, float]],
    questions: Sequence[Question],
    set_aside: Sequence[ProblemGroup],
    impossible: Mapping[str, int],
    timezone: str,
    notes: Sequence[str] = (),
) -> str:
    """Write what was understood.

    Parameters
    ----------
    files : how each file was understood; those alike in all but the name share an entry
    ranges : channel to lowest and highest value in use [canonical unit]; also key of a column
        that is left open [as written]
    questions : what is open
    set_aside : rows and cells that were set aside, by reason
    impossible : channel to number of values that cannot be real
    timezone : zone in which times are shown
    notes : what concerns all files together
    """
    alike: dict[tuple[object, ...], list[FileRead]] = {}
    for one in files:
        alike.setdefault(_shape(one), []).append(one)
    lines: list[str] = []
    for group in alike.values():
        lines += [*_file(group, ranges, timezone, _first_guesses(questions)), ""]
    for note in notes:
        lines += [*_wrapped(fmt.sentence(note), 0), ""]
    lines += _asked(questions)
    lines += _set_aside(set_aside, impossible)
    return "\n".join(lines).rstrip() + "\n"


def questions_text(questions: Sequence[Question]) -> str:
    """Write what is asked, with the answers to choose from."""
    return "\n".join(_asked(questions)).rstrip() + "\n"


def map_text(log_map: LogMap, questions: Sequence[Question]) -> str:
    """Write a map: what is certain as keys, what is asked as comments to complete."""
    text = map_to_toml(log_map)
    of_file = (*_ANSWERS, "clock")
    keys = [question for question in questions if question.kind in of_file]
    columns = [question for question in questions if question.kind not in of_file]
    head, _, entries = text.partition("\n\n[log.columns]\n")
    lines = [head.rstrip(), *_commented(keys)]
    if entries or columns:
        lines += ["", "[log.columns]", *entries.splitlines(), *_commented(columns)]
    return "\n".join(lines) + "\n"


def _shape(one: FileRead) -> tuple[object, ...]:
    columns = tuple((column.key, column.meaning) for column in columns_of([one]))
    return one.dialect, columns


def _first_guesses(questions: Sequence[Question]) -> dict[str, str]:
    """Say what each column that is asked may be, where anything speaks for it."""
    guesses = {}
    for question in questions:
        if question.kind == "unit":
            guesses[question.subject] = "its unit is asked"
        elif question.kind == "column" and question.choices and question.choices[0].value:
            likely = channel(question.choices[0].value)
            says = likely.says if likely is not None else question.choices[0].value
            guesses[question.subject] = f"perhaps {says}"
    return guesses


def _file(
    group: Sequence[FileRead],
    ranges: Mapping[str, tuple[float, float]],
    timezone: str,
    guesses: Mapping[str, str],
) -> Iterator[str]:
    first = group[0]
    name = printable(first.name)
    if len(group) > 1:
        name += f" and {fmt.plural(len(group) - 1, 'more file')} like it"
    yield name
    yield from _wrapped(fmt.sentence(_written(first)), 2)
    yield from _wrapped(fmt.sentence(_timed(group, timezone)), 2)
    remarks = first.understood.remarks if first.understood is not None else ()
    for remark in remarks:
        yield from _wrapped(fmt.sentence(printable(remark)), 2)
    yield ""
    yield f"  {'COLUMN':<{_HEAD}} {'HOLDS':<{_HOLDS}} {'UNIT':<{_UNIT}} HOW SURE"
    for column in columns_of([first]):
        yield from _column(column, ranges, guesses.get(column.key))


def _written(one: FileRead) -> str:
    known = one.understood
    if known is None:
        return one.dialect
    words = [DELIMITER_WORDS.get(known.delimiter, "columns")]
    words.append("decimal comma" if known.decimal == "," else "decimal point")
    if known.thousands:
        words.append(f"“{known.thousands}” between thousands")
    if known.header_lines:
        held = " and ".join(str(line) for line in known.header_lines)
        words.append(f"header in line {held}")
    else:
        words.append("no header")
    if known.long:
        words.append("one value in each row, by name")
    return ", ".join([*words, known.encoding])


def _timed(group: Sequence[FileRead], timezone: str) -> str:
    rows = sum(one.rows for one in group)
    first_s, last_s = min(one.first_s for one in group), max(one.last_s for one in group)
    span = f"{fmt.moment(first_s, timezone)} to {fmt.moment(last_s, timezone)}"
    said = f"{fmt.plural(rows, 'row')}, {span} ({timezone})"
    known = group[0].understood
    if known is None:
        return said
    steps = " then ".join(fmt.duration(step) for step in known.steps_s[:4])
    said += f", a row every {steps}" if steps else ""
    clock = {
        "stamps": "every stamp says its zone",
        "header": f"clock of {known.time_zone}, as the header says",
        "map": f"clock of {known.time_zone}, as the map says",
        "site": f"clock of {known.time_zone} taken for granted",
    }[known.time_zone_source]
    head = f" in column “{printable(known.stamp_head)}”" if known.stamp_head else ""
    return f"{said}; time{head} written as {known.stamp_format}, {clock}"


def _column(
    column: ColumnUnderstood, ranges: Mapping[str, tuple[float, float]], guess: str | None
) -> Iterator[str]:
    meaning = column.meaning
    head = printable(column.head) or f"column {column.place + 1}"
    if column.unit_head and f"{column.unit_head}" not in head:
        head += f" [{printable(column.unit_head)}]"
    holds, unit = "left out", ""
    if meaning is None and guess is not None:
        holds = guess
    if meaning is not None:
        known = channel(meaning.channel)
        holds = known.says if known is not None else meaning.channel
        unit = meaning.unit or (known.unit if known is not None else "")
    unit = "% or 0..1" if unit.startswith("0..1 or") else unit
    yield (
        f"  {_cut(head, _HEAD):<{_HEAD}} {_cut(holds, _HOLDS):<{_HOLDS}} "
        f"{_cut(unit, _UNIT):<{_UNIT}} {how_sure(column)}"
    ).rstrip()
    if meaning is not None and meaning.channel in ranges:
        low, high = ranges[meaning.channel]
        known = channel(meaning.channel)
        if known is not None:
            yield f"      from {_near(low)} to {_near(high)} {known.unit}"
    elif meaning is None and column.key in ranges:
        low, high = ranges[column.key]
        yield f"      from {_near(low)} to {_near(high)}, as written"
    for reason in column.reasons:
        yield from _wrapped(printable(reason), 6)
    for words in column_losses(column):
        yield from _wrapped(words, 6)


def _near(value: float) -> str:
    return fmt.number(value, decimals=0 if abs(value) >= 1000.0 else 1)


def how_sure(column: ColumnUnderstood) -> str:
    """Say how sure a meaning is, or that it is asked."""
    if column.source == "map":
        return "the map"
    if column.source == "header" and column.meaning is not None:
        return "its name"
    if column.meaning is None:
        return "asked" if column.certainty_frac > 0.0 else "not known"
    return fmt.share(column.certainty_frac)


def column_losses(column: ColumnUnderstood) -> Iterator[str]:
    """Say which values of a column are not used, and why."""
    if column.sentinels:
        signs = ", ".join(f"{value:g}" for value in column.sentinels)
        yield f"{signs} stands for a broken sensor here"
    if column.masked:
        count = column.masked
        yield f"{fmt.plural(count, 'value')} cannot be real and {_is(count)} not used"
    if column.set_aside:
        yield f"{fmt.plural(column.set_aside, 'cell')} {_is(column.set_aside)} no number"


def _is(count: int) -> str:
    return "is" if count == 1 else "are"


def _asked(questions: Sequence[Question]) -> Iterator[str]:
    if not questions:
        return
    yield "ASKED, and not used until it is answered"
    for number, question in enumerate(questions, start=1):
        subject = f"{_named(question)}: " if question.subject else ""
        yield from _wrapped(f"{number}. {subject}{printable(question.why)}", 2, hang=5)
        for letter, choice in zip(_LETTERS, question.choices, strict=False):
            sure = choice.certainty_frac
            known = "" if sure != sure else f" ({fmt.share(sure)})"
            yield from _wrapped(f"{letter}) {printable(choice.says)}{known}", 5, hang=8)
    yield ""


def _named(question: Question) -> str:
    subject = printable(question.subject)
    return f"Column {subject}" if subject.isdigit() else f"“{subject}”"


def _set_aside(set_aside: Sequence[ProblemGroup], impossible: Mapping[str, int]) -> Iterator[str]:
    count = sum(group.count for group in set_aside)
    if not count and not impossible:
        return
    yield f"SET ASIDE ({fmt.plural(count, 'row or cell', 'rows and cells')})"
    facts = set_aside_facts(set_aside)
    for one in facts[:_LISTED]:
        yield from _wrapped(f"{printable(one.label)}: {printable(one.value)}", 2, hang=4)
    if len(facts) > _LISTED:
        yield f"  and {fmt.plural(len(facts) - _LISTED, 'more reason')}"
    for name, number in impossible.items():
        known = channel(name)
        if known is not None:
            yield from _wrapped(
                f"{known.says}: {fmt.plural(number, 'value')} outside {known.lowest:g} to "
                f"{known.highest:g} {known.unit} cannot be real and were left out",
                2,
                hang=4,
            )
    yield ""


def _commented(questions: Sequence[Question]) -> Iterator[str]:
    """Write each choice as the line that answers the question, behind a comment sign."""
    for question in questions:
        yield f"# {_one_line(question.why)}"
        for choice in question.choices:
            answer = _answer(question, choice.value)
            if answer is not None:
                *first, last = answer.split("\n")
                yield from (f"# {line}" for line in first)
                yield f"# {last}  # {_one_line(choice.says)}"


def _answer(question: Question, value: str) -> str | None:
    if question.kind in _ANSWERS:
        return f"{_ANSWERS[question.kind]} = {toml_value(value)}"
    if not value:
        return None
    if question.kind == "clock":
        return value
    head = toml_value(question.subject)
    if question.kind == "unit":
        return f'{head} = {{ channel = "...", unit = {toml_value(value)} }}'
    return f"{head} = {{ channel = {toml_value(value)} }}"


def _one_line(text: str) -> str:
    return printable(" ".join(text.split()))


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else f"{text[: width - 1]}…"


def _wrapped(text: str, indent: int, *, hang: int | None = None) -> list[str]:
    return textwrap.wrap(
        text,
        _WIDTH,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent if hang is None else hang),
        break_on_hyphens=False,
    )
