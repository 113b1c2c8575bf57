"""How a file is written: delimiter, decimal sign, where the header stands and where rows begin.

Found from the head of the file; what the site file or map tells goes before what is found.
"""

import csv
import re
from collections import Counter
from dataclasses import dataclass
from itertools import islice
from typing import Literal

from analysis.channels import channel_of_tidy
from analysis.errors import LogError
from analysis.logs.stamp_formats import format_of, format_told
from analysis.site import LogMap

_HEAD_BYTES = 65536
_HEAD_LINES = 400
_SAMPLE_ROWS = 60
_MEASURED_LINES = 120
_DELIMITERS = (";", "\t", "|", ",", " ")
DELIMITER_NAMES = {";": "semicolon", "\t": "tab", "|": "pipe", ",": "comma", " ": "blank"}
MISSING = ("", "-", "--", "---", "n/a", "N/A", "NA", "na", "NaN", "nan", "NAN", "null", "NULL")
MISSING_FOLDED = frozenset(word.lower() for word in (*MISSING, "none", "n.a.", "#n/a"))
WORDS = {
    "on": True,
    "off": False,
    "true": True,
    "false": False,
    "yes": True,
    "no": False,
    "ein": True,
    "aus": False,
}
_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_COMMA_NUMBER = re.compile(r"[+-]?\d*,\d+", re.ASCII)
_POINT_NUMBER = re.compile(r"[+-]?\d*\.\d+", re.ASCII)
_COMMA_CELL = re.compile(rb"[;\t|\"][+-]?\d+,\d+[;\t|\"\r\n]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Dialect:
    """How a file is written.

    Attributes
    ----------
    delimiter : one sign; " " means runs of blanks
    decimal : the decimal sign
    heads : header texts, "" for a column without one
    header_line : 1-based line of the header, None where there is none
    first_line : 1-based line of the first row
    body_at : byte offset of the first row
    samples : rows from the head of the file, as texts
    """

    delimiter: str
    decimal: Literal[".", ","]
    heads: tuple[str, ...]
    header_line: int | None
    first_line: int
    body_at: int
    samples: tuple[tuple[str, ...], ...]


def cells_of(line: str, delimiter: str) -> list[str]:
    """Split one line; quotes are understood."""
    if delimiter == " ":
        return line.split()
    if '"' not in line:
        return line.split(delimiter)
    try:
        rows = list(csv.reader([line], delimiter=delimiter, skipinitialspace=True))
    except csv.Error:
        return line.split(delimiter)
    return rows[0] if rows else []


def find_dialect(name: str, text: bytes, told: LogMap) -> Dialect:
    """Find how a file is written.

    Parameters
    ----------
    name : str
        File name, for messages.
    text : bytes
        The file as clean UTF-8.
    told : LogMap
        What the site file or map says.

    Returns
    -------
    Dialect
        How to read it.

    Raises
    ------
    LogError
        There is no table in the file.
    """
    head = text[:_HEAD_BYTES].decode("utf-8", errors="replace")
    lines = head.split("\n")
    if len(text) > _HEAD_BYTES and len(lines) > 1:
        lines.pop()  # cut off by the reading of a head
    lines = lines[:_HEAD_LINES]
    used = [
        (number, line.rstrip("\r"))
        for number, line in enumerate(lines, start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not used:
        raise LogError("there is no table in this file; give the logger's CSV export", file=name)
    delimiter = told.delimiter or _delimiter([line for _, line in used])
    rows = [(number, cells_of(line, delimiter)) for number, line in used]
    return _with_header(name, text, rows, lines, delimiter, told)


def _delimiter(lines: list[str]) -> str:
    """Find the delimiter that gives most lines the same number of cells."""
    tail = lines[len(lines) // 5 :][-_MEASURED_LINES:]
    best, best_score = ",", 0.0
    for delimiter in _DELIMITERS:
        counts = Counter(len(cells_of(line, delimiter)) for line in tail)
        width, often = counts.most_common(1)[0]
        score = often / len(tail) if width >= 2 else 0.0
        if score > max(best_score, 0.0) + (0.1 if best_score else 0.0):
            best, best_score = delimiter, score
    return best


def _is_row(cells: list[str], told: LogMap) -> bool:
    """Tell a row of data from a header: it holds numbers or a stamp, and hardly any words."""
    values = [cell.strip() for cell in cells if cell.strip().lower() not in MISSING_FOLDED]
    if not values:
        return False
    known = sum(
        _NUMBER.fullmatch(value) is not None or value.lower() in WORDS or _is_stamp(value, told)
        for value in values
    )
    return known * 2 > len(values) or (known > 0 and _is_stamp(values[0], told))


def _has_number(cells: list[str]) -> bool:
    return len(cells) >= 2 and any(_NUMBER.fullmatch(cell.strip()) for cell in cells)


def _is_stamp(value: str, told: LogMap) -> bool:
    if not value[:1].isdigit() and told.time_format is None:
        return False
    if told.time_format is not None and format_told(told.time_format).one(value) is not None:
        return True
    return (
        format_of([value]) is not None or re.fullmatch(r"\d{1,2}:\d{2}(:\d{2})?", value) is not None
    )


def _with_header(
    name: str,
    text: bytes,
    rows: list[tuple[int, list[str]]],
    lines: list[str],
    delimiter: str,
    told: LogMap,
) -> Dialect:
    data = list(islice((row for row in rows if _is_row(row[1], told)), _SAMPLE_ROWS))
    # A stamp in an unknown format beside few numbers: the layout will say so.
    data = data or [row for row in rows[1:] if _has_number(row[1])][:_SAMPLE_ROWS]
    if not data:
        raise LogError(_no_rows(told), file=name)
    width = Counter(len(cells) for _, cells in data).most_common(1)[0][0]
    first_row = next(number for number, cells in data if len(cells) == width)
    before = [(number, cells) for number, cells in rows if number < first_row]
    header_line, heads = _header(before, width, told)
    body_at = sum(len(line.encode("utf-8")) + 1 for line in lines[: first_row - 1])
    samples = tuple(tuple(cells) for _, cells in data if len(cells) == width)
    if header_line is not None and not heads[-1] and any(row[-1].strip() for row in samples):
        _refuse_nameless(name, before, header_line, width)
    return Dialect(
        delimiter=delimiter,
        decimal=told.decimal or _decimal(samples, text),
        heads=heads,
        header_line=header_line,
        first_line=first_row,
        body_at=min(body_at, len(text)),
        samples=samples,
    )


def _refuse_nameless(
    name: str, before: list[tuple[int, list[str]]], header_line: int, width: int
) -> None:
    """Refuse a header that is shorter than its rows: nobody can tell which value has no name."""
    cells = next(cells for number, cells in before if number == header_line)
    if len(cells) < width:
        raise LogError(
            f"the header names {len(_stripped(cells))} columns, but the rows hold {width} values; "
            "a decimal comma in a comma separated file does this: export it with decimal points "
            "or semicolons, else complete the header",
            file=name,
            line=header_line,
        )


def _no_rows(told: LogMap) -> str:
    if told.delimiter is not None:
        sign = DELIMITER_NAMES[told.delimiter]
        return f"no row of numbers is found with the delimiter told, {sign}; check it in [log]"
    return "there is a header but no row of numbers under it; export the log again"


def _header(
    before: list[tuple[int, list[str]]], width: int, told: LogMap
) -> tuple[int | None, tuple[str, ...]]:
    """Find the header among the lines before the first row: the one with most known heads.

    Where none has any, the last one; a line of units may stand between header and rows.
    """
    named = {head.strip().lower() for head, _ in told.columns}
    best: tuple[int, int, list[str]] | None = None
    for number, cells in before:
        # Headers often lack the name of a last empty column, or have one too many.
        filled = _stripped(cells)
        if len(cells) != width and not (len(filled) >= 2 and abs(len(filled) - width) <= 1):
            continue
        heads = [cell.strip() for cell in cells][:width]
        known = sum(
            channel_of_tidy(head) is not None or head.lower() in named or head.lower() == "time"
            for head in heads
        )
        if best is None or known >= best[0]:
            best = (known, number, heads)
    if best is None:
        return None, ("",) * width
    return best[1], (*best[2], *("" for _ in range(width - len(best[2]))))


def _stripped(cells: list[str]) -> list[str]:
    cells = list(cells)
    while cells and not cells[-1].strip():
        cells.pop()
    return cells


def _decimal(samples: tuple[tuple[str, ...], ...], text: bytes) -> Literal[".", ","]:
    comma = point = 0
    for cells in samples:
        for cell in cells:
            comma += _COMMA_NUMBER.fullmatch(cell.strip()) is not None
            point += _POINT_NUMBER.fullmatch(cell.strip()) is not None
    if not comma and not point:
        # Only whole numbers at the head of the file: a night. Later ones may have decimals.
        return "," if _COMMA_CELL.search(text) else "."
    return "," if comma > point else "."
