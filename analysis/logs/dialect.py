"""How a file is written: delimiter, signs in numbers, where rows begin (headers: see `headers`).

Found from the head of the file, the signs in numbers from spots all through it; what the site file
or map tells goes before what is found.
"""

import re
from collections import Counter
from dataclasses import dataclass, replace
from itertools import islice
from typing import Literal

from analysis.channels import channel_of_tidy
from analysis.errors import LogError
from analysis.logs.cells import cells_of, is_comment, is_stamp
from analysis.logs.headers import Headers, find_headers
from analysis.logs.number_signs import find_numbers
from analysis.logs.numbers import NumberStyle, looks_like_number
from analysis.logs.words import MISSING_FOLDED, WORDS
from analysis.site import LogMap

# A head holds this much of a file, and more where its lines are very wide.
_HEAD_BYTES, _MOST_HEAD_BYTES = 65536, 4 * 1024 * 1024
_FEWEST_LINES = 12
_HEAD_LINES = 400
_SAMPLE_ROWS = 60
_MEASURED_LINES = 40
_DELIMITERS = (";", "\t", "|", ",", " ")
DELIMITER_NAMES = {";": "semicolon", "\t": "tab", "|": "pipe", ",": "comma", " ": "blank"}
_OTHER_KINDS = (
    ("<!doctype", "a web page"),
    ("<html", "a web page"),
    ("<table", "a web page"),
    ("<?xml", "an XML file"),
    ("{", "a JSON file"),
    ("[{", "a JSON file"),
    ("[[", "a JSON file"),
)
_CLOCK = re.compile(r"\d{1,2}[:.]\d{2}([:.]\d{2})?(\s*[AaPp]\.?[Mm]\.?)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Dialect:
    """How a file is written.

    Attributes
    ----------
    delimiter : one sign; " " means runs of blanks
    numbers : the signs in numbers
    two_signs : whether there are numbers with a decimal point and others with a comma
    number_doubt : a number that the whole file leaves two meanings, "" where there is none
    headers : names and units, and the lines that are passed over where they stand again
    first_line : 1-based line of the first row
    body_at : byte offset of the first row
    samples : rows from the head of the file, as texts
    """

    delimiter: str
    numbers: NumberStyle
    number_doubt: str
    two_signs: bool
    headers: Headers
    first_line: int
    body_at: int
    samples: tuple[tuple[str, ...], ...]

    @property
    def heads(self) -> tuple[str, ...]:
        """Header texts, "" for a column without one."""
        return self.headers.names

    def is_shared(self, place: int) -> bool:
        """Tell whether another column has the same head as the one at this place."""
        return self.headers.names[place] in self.headers.shared

    @property
    def ends_in_sign(self) -> bool:
        """Tell whether the last column is only the sign that ends each row: no head, no value."""
        return not self.heads[-1] and not any(row[-1].strip() for row in self.samples)

    @property
    def header_line(self) -> int | None:
        """1-based line of the header with the names, None where there is none."""
        return self.headers.lines[0] if self.headers.lines else None

    @property
    def decimal(self) -> Literal[".", ","]:
        """The decimal sign."""
        return self.numbers.decimal


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
    lines = _head_lines(text)
    filled = [(number, line) for number, line in enumerate(lines, start=1) if line.strip()]
    _refuse_other_kinds(name, filled)
    used = [one for one in filled if not is_comment(one[1], told.delimiter or ";")]
    if not used:
        raise LogError("there is no table in this file; give the logger's CSV export", file=name)
    delimiter = told.delimiter or _delimiter([line for _, line in used])
    split = [(number, cells_of(line, delimiter)) for number, line in filled]
    bare = {number for number, line in filled if is_comment(line, delimiter)}
    rows = [one for one in split if one[0] not in bare]
    data, first_row, width = _data_rows(name, rows, told)
    samples = tuple(tuple(cells) for _, cells in data)
    before = [one for one in rows if one[0] < first_row]
    remarks = [
        (number, cells_of(line.lstrip("#/% ;"), delimiter))
        for number, line in filled
        if number in bare and number < first_row
    ]
    clock = _clock_place(samples[-1], told) if delimiter == " " else None
    headers = find_headers(name, before, remarks, samples, width, told, clock_place=clock)
    first_row = _first_row(headers, filled, first_row)
    body_at = sum(len(line.encode("utf-8")) + 1 for line in text_lines(text)[: first_row - 1])
    numbers, doubt, two_signs = find_numbers(samples, text, delimiter, told)
    if doubt and any(channel_of_tidy(head) is not None for head in headers.names):
        # What knows our heads puts no signs between thousands.
        numbers, doubt = replace(numbers, open=False), ""
    return Dialect(
        delimiter=delimiter,
        numbers=numbers,
        number_doubt=doubt,
        two_signs=two_signs,
        headers=headers,
        first_line=first_row,
        body_at=min(body_at, len(text)),
        samples=samples,
    )


def _refuse_other_kinds(name: str, filled: list[tuple[int, str]]) -> None:
    """Refuse what is text but no table: a page of the web, records in braces."""
    first = filled[0][1].lstrip("\ufeff \t").lower() if filled else ""
    kind = next((kind for sign, kind in _OTHER_KINDS if first.startswith(sign)), None)
    if kind is not None:
        raise LogError(
            f"this is {kind}, whatever its name ends in; give the logger's CSV export", file=name
        )


def _first_row(headers: Headers, filled: list[tuple[int, str]], first_row: int) -> int:
    """Give the line where rows begin: a damaged one under the header is a row, and will be told."""
    after = headers.lines[-1] if headers.lines else 0
    for number, line in filled:
        if after < number < first_row:
            telling = line.lstrip(' "')[:1].isdigit()
            if telling or (after and any(sign.isdigit() for sign in line)):
                return number
    return first_row


def text_lines(text: bytes) -> list[str]:
    """Give the lines at the head of a text, line feeds taken off and returns left on."""
    size = _HEAD_BYTES
    while size < min(len(text), _MOST_HEAD_BYTES) and text.count(b"\n", 0, size) < _FEWEST_LINES:
        size *= 2
    lines = text[:size].decode("utf-8", errors="replace").split("\n")
    if len(text) > size and len(lines) > 1:
        lines.pop()  # cut off by the reading of a head
    return lines[:_HEAD_LINES]


def _head_lines(text: bytes) -> list[str]:
    return [line.rstrip("\r") for line in text_lines(text)]


def _delimiter(lines: list[str]) -> str:
    """Find the delimiter that cuts most lines into the same number of cells that mean something."""
    tail = lines[len(lines) // 5 :][-_MEASURED_LINES:]
    best, best_score = ",", 0.0
    for delimiter in _DELIMITERS:
        rows = [cells_of(line, delimiter) for line in tail]
        width, often = Counter(len(cells) for cells in rows).most_common(1)[0]
        if width < 2 or often <= len(tail) * best_score:
            continue
        cells = [cell for row in rows if len(row) == width for cell in row]
        known = sum(_is_known(cell.strip()) for cell in cells)
        score = often / len(tail) * (0.1 + known / len(cells))
        if score > best_score + (0.05 if best_score else 0.0):
            best, best_score = delimiter, score
    return best


def _is_known(cell: str) -> bool:
    folded = cell.lower()
    return (
        folded in MISSING_FOLDED
        or folded in WORDS
        or looks_like_number(cell)
        or is_stamp(cell, None)
        or _CLOCK.fullmatch(cell) is not None
    )


def _is_row(cells: list[str], told: LogMap) -> bool:
    """Tell a row of data from a header: it holds numbers or a stamp, and hardly any words."""
    values = [cell.strip() for cell in cells if cell.strip().lower() not in MISSING_FOLDED]
    if not values:
        return False
    known = [
        looks_like_number(value) or value.lower() in WORDS or _CLOCK.fullmatch(value) is not None
        for value in values
    ]
    if sum(known) * 2 > len(values):
        return True
    stamps = [is_stamp(value, told.time_format) for value in values]
    both = sum(a or b for a, b in zip(known, stamps, strict=True))
    return both * 2 > len(values) or (any(stamps) and (stamps[0] or both >= 2))


def _has_number(cells: list[str]) -> bool:
    return len(cells) >= 2 and any(looks_like_number(cell) for cell in cells)


def _data_rows(
    name: str, rows: list[tuple[int, list[str]]], told: LogMap
) -> tuple[list[tuple[int, list[str]]], int, int]:
    """Give sample rows, the line of the first and how many cells they have."""
    data = list(islice((row for row in rows if _is_row(row[1], told)), _SAMPLE_ROWS))
    # A stamp in an unknown format beside few numbers: the layout will say so.
    data = data or [row for row in rows[1:] if _has_number(row[1])][:_SAMPLE_ROWS]
    if not data:
        raise LogError(_no_rows(told), file=name)
    width = Counter(len(cells) for _, cells in data).most_common(1)[0][0]
    data = [row for row in data if len(row[1]) == width]
    # A line above the header such as `exported;01.06.2025` has its stamp in another place.
    places = [_stamp_place(cells, told) for _, cells in data[-8:]]
    usual, often = Counter(places).most_common(1)[0]
    if usual is not None and often * 2 > len(places):
        while len(data) > 1 and _stamp_place(data[0][1], told) != usual:
            data.pop(0)
    return data, data[0][0], width


def _stamp_place(cells: list[str], told: LogMap) -> int | None:
    for place, cell in enumerate(cells):
        if is_stamp(cell.strip(), told.time_format):
            return place
    return None


def _clock_place(cells: tuple[str, ...], told: LogMap) -> int | None:
    """Give the place of a time of day that stands right of a bare date."""
    day = _stamp_place(list(cells), told)
    if day is None or day + 1 >= len(cells) or ":" in cells[day]:
        return None
    return day + 1 if _CLOCK.fullmatch(cells[day + 1].strip()) else None


def _no_rows(told: LogMap) -> str:
    if told.delimiter is not None:
        sign = DELIMITER_NAMES[told.delimiter]
        return f"no row of numbers is found with the delimiter told, {sign}; check it in [log]"
    return "there is a header but no row of numbers under it; export the log again"
