"""What every reading must keep, whatever the bytes; shared by both fuzzers."""

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from analysis.errors import LogError
from analysis.logs.archives import unpack
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource, ParsedLog
from analysis.site import LogMap, Site
from analysis.sitefile import parse_site

NOW_S = 1_800_000_000
LIMIT_BYTES = 1 << 22
_SITE_FILE = Path(__file__).parents[2] / "fixtures/sites/mill-lane-4.toml"


@lru_cache(maxsize=1)
def site() -> Site:
    """Give a site on a clock with summer time."""
    one = parse_site(_SITE_FILE.read_text("utf-8"))
    return replace(one, log=LogMap(), place=replace(one.place, timezone="Europe/Berlin"))


def read_any(data: bytes, *, keep_open: bool = True) -> ParsedLog | None:
    """Read any bytes: a parsed log that keeps its promises, or None for one plain refusal."""
    try:
        files = unpack("x", data, limit_bytes=LIMIT_BYTES)
        log = read_logs(files, site=site(), now_s=NOW_S, keep_open=keep_open)
    except LogError as refused:
        if not str(refused).strip():
            raise AssertionError("a refusal without a word") from refused
        return None
    check(log)
    return log


def read_files(*texts: bytes) -> ParsedLog | None:
    """Read several plain files together."""
    files = [LogSource(name=f"{n}.csv", data=data) for n, data in enumerate(texts)]
    try:
        log = read_logs(files, site=site(), now_s=NOW_S)
    except LogError:
        return None
    check(log)
    return log


def check(log: ParsedLog) -> None:
    """Hold a parsed log against its promises."""
    rows = log.rows
    assert rows.read == rows.kept + rows.duplicate + rows.rejected
    assert min(rows.kept, rows.duplicate, rows.rejected) >= 0
    assert rows.kept == len(log.stamp_s) > 0
    assert (np.diff(log.stamp_s) > 0).all()
    assert log.stamp_s.max() <= NOW_S + 86_400
    for held in (log.columns, log.open_columns):
        assert all(len(values) == rows.kept for values in held.values())
        assert not any(np.isinf(values).any() for values in held.values())
    assert log.problems >= len(log.rejected)
    assert all(question.why for question in log.questions)
    for one in log.files:
        assert one.understood is not None
        assert all(0 <= column.certainty_frac <= 1 for column in one.understood.columns)
