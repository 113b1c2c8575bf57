"""The set-aside rows of an upload as CSV: read again from the kept bytes, so that none is left out.

A cell that a spreadsheet would take for a formula gets an apostrophe in front.
"""

import csv
import io
import re

from analysis.errors import AnalysisError, LogError
from analysis.logs.archives import unpack
from analysis.logs.reading import read_logs
from analysis.logs.set_aside import SetAside, set_aside
from analysis.logs.shapes import LogSource
from analysis.results import Problem
from analysis.sitefile import parse_site
from service.ingest.files import RawStore

_MOST = 1_000_000
_NUMBER = re.compile(r"[+-]?[\d.,]+")
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
_HEADS = ("file", "line", "column", "value", "reason")


def set_aside_of(
    *, raw: RawStore, sha256: str, name: str, site_text: str, now_s: int, limit_bytes: int
) -> list[SetAside]:
    """Read a kept file again and give everything in it that was set aside.

    Raises
    ------
    LogError : its bytes are gone
    """
    site = parse_site(site_text)
    try:
        data = raw.read(sha256)
    except FileNotFoundError:
        raise LogError("its bytes are gone from the data folder", file=name) from None
    sources: list[LogSource] = []
    try:
        sources = unpack(name, data, limit_bytes=limit_bytes)
        parsed = read_logs(sources, site=site, now_s=now_s, listed=_MOST)
    except AnalysisError as error:
        line, column = getattr(error, "line", None), getattr(error, "column", None)
        problem = Problem(file=name, line=line, column=column, why=str(error))
        return list(set_aside([problem], sources=sources, told=site.log))
    return list(set_aside(parsed.rejected, sources=sources, told=site.log))


def as_csv(rows: list[SetAside]) -> str:
    """Write set-aside rows as CSV with one header row."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")  # as RFC 4180 has it
    writer.writerow(_HEADS)
    for row in rows:
        line = "" if row.line is None else row.line
        writer.writerow(
            [safe(row.file), line, safe(row.column or ""), safe(row.value), safe(row.why)]
        )
    return out.getvalue()


def safe(text: str) -> str:
    """Give a cell that no spreadsheet takes for a formula; a number stays a number."""
    if text.startswith(_FORMULA) and not _NUMBER.fullmatch(text):
        return f"'{text}"
    return text
