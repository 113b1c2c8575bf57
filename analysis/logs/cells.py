"""Lines into cells, and what a single cell is."""

import csv
import re

from analysis.logs.stamp_formats import format_of, format_told

_COMMENT = re.compile(r"#|//|%[\s\w]|;")
_SHORTEST_DAY = len("1/6/25")
# No header says more in earnest; what looks into one looks no further, whatever it costs there.
LONGEST_HEAD = 400


def is_comment(line: str, delimiter: str) -> bool:
    """Tell whether a line is a remark: it begins with #, //, % and a word, or a lone semicolon."""
    mark = _COMMENT.match(line.lstrip())
    return mark is not None and not mark[0].startswith(delimiter)


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


def is_stamp(value: str, time_format: str | None) -> bool:
    """Tell whether a cell holds a day, with or without the time of day."""
    if time_format is not None and format_told(time_format).one(value) is not None:
        return True
    if len(value) < _SHORTEST_DAY or not any(sign.isdigit() for sign in value[:12]):
        return False
    return format_of([value]) is not None
