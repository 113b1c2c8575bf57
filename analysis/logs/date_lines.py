"""A date on a line of its own above the times of its day becomes the date of each row.

Lines stay where they are, so that a problem names the line of the file. A row of midnight that
ends a block is the end of its day. Where times start anew without another date nobody knows the
day; such rows keep their bare time, and are set aside for it.
"""

import re

from analysis.logs.stamp_formats import format_of, format_told
from analysis.site import LogMap

_HEAD = 65536
_LONGEST_LINE = 80
_FEWEST_ROWS = 2
_HALF_DAY_MIN, _DAY_MIN = 720, 1440
# Words before such a date (trade words; common practice, no source).
_LABEL_WORDS = "date day datum tag fecha día dia data giorno jour dag le am vom den du of for"
_LABELS = frozenset(_LABEL_WORDS.split())
_LABEL = re.compile(r"(?P<words>[^\W\d_]+(?:\s+[^\W\d_]+)?)\s*[:=;,\t|]\s*(?P<rest>.+)")
_EDGES = " \t\r\"'[](){}<>#*=-_;,|"
_TIME = re.compile(
    rb"(?P<before>(?:^|[;,\t|])[ ]*\"?)"
    rb"(?P<time>(?P<h>\d{1,2}):(?P<m>\d{2})(?P<s>:\d{2})?(?:[ ]*(?P<p>[AaPp])\.?[Mm]\.?)?)"
    rb"(?=\"?[ ]*(?:[;,\t| \r]|$))"
)


def with_dates(text: bytes, told: LogMap) -> tuple[bytes, int]:
    """Put the date of a line above into each row of bare times.

    Parameters
    ----------
    text : bytes
        A file as clean UTF-8.
    told : LogMap
        Says where dates stand, or leaves it to the head of the file; its `time_format` is a way
        to write them.

    Returns
    -------
    tuple
        The text, line by line, and how many lines were dates; 0: it is as it was.
    """
    if told.dates == "rows":
        return text, 0
    if told.dates is None and not _dated_by_lines(text[:_HEAD].split(b"\n")[:-1] or [text], told):
        return text, 0
    out, count = [], 0
    day, last_min, lost = b"", -1, False
    for line in text.split(b"\n"):
        match = _TIME.search(line)
        if match is None:
            date = _date_of(line, told)
            if date:
                day, last_min, lost = date.encode(), -1, False
                count += 1
                line = b"\r" if line.endswith(b"\r") else b""
        elif day:
            minute, time = _minute(match), match["time"]
            if last_min - minute >= _HALF_DAY_MIN:
                lost = lost or minute > 0 or last_min == _DAY_MIN
                time, minute = b"24:00" + (b":00" if match["s"] else b""), _DAY_MIN
            last_min = minute
            if not lost:
                start, stop = match.span("time")
                line = b"%s%s %s%s" % (line[:start], day, time, line[stop:])
        out.append(line)
    return (b"\n".join(out), count) if count else (text, 0)


def _dated_by_lines(lines: list[bytes], told: LogMap) -> bool:
    """Tell whether rows of bare times stand under lines that are dates and nothing else."""
    dated = rows = 0
    for line in lines:
        if not dated and not _date_of(line, told):
            continue  # above the first date nothing else counts
        match = _TIME.search(line)
        if match is None:
            dated += bool(_date_of(line, told))
        elif dated:
            cells = re.split(r"[;,\t|]", line[: match.end()].decode("utf-8", errors="replace"))
            beside = re.split(r"[;,\t|]", line[match.end() :].decode("utf-8", errors="replace"))
            if any(_is_date(cell.strip(' "'), told) for cell in (*cells[:-1], *beside[:2])):
                return False  # the rows know their day
            rows += 1
    return rows >= _FEWEST_ROWS


def _date_of(line: bytes, told: LogMap) -> str:
    """Give the date that a line consists of, "" where it holds anything else."""
    if len(line) > _LONGEST_LINE:
        return ""
    bare = line.decode("utf-8", errors="replace").strip(_EDGES)
    if not any(sign.isdigit() for sign in bare) or (bare[0].isdigit() and ":" in bare):
        return ""
    if _is_date(bare, told):
        return bare
    match = _LABEL.fullmatch(bare)
    if match is None or not set(match["words"].lower().split()) <= _LABELS:
        return ""
    rest = match["rest"].strip(_EDGES)
    return rest if _is_date(rest, told) else ""


def _is_date(text: str, told: LogMap) -> bool:
    if ":" in text or len(text) < len("1/6/25"):
        return False
    if told.time_format is not None:
        one = format_told(told.time_format)
        return any(one.one(f"{text} {time}") is not None for time in ("00:00", "00:00:00"))
    return format_of([text]) is not None


def _minute(match: re.Match[bytes]) -> int:
    hour, half = int(match["h"]), match["p"]
    if half:
        hour = hour % 12 + (12 if half in b"pP" else 0)
    return 60 * hour + int(match["m"])
