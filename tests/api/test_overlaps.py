"""Overlapping logs: command and service follow one rule, whatever the order of the files."""

from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest

from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource
from analysis.sitefile import parse_site
from service.ingest.queries import load_rows
from tests.build_service import BackEnd, back_ends, site_file, tidy_log

DAY = datetime(2025, 6, 1, tzinfo=UTC)
TEXTS = {
    "first": tidy_log(first=DAY, hours=48),
    "other values, a channel less": tidy_log(
        first=DAY.replace(hour=12), hours=30, seed=7, without=frozenset({"t_ambient_c"})
    ),
    # A clock three minutes ahead, and a row without a value in the middle.
    "other stamps": tidy_log(first=DAY.replace(hour=20, minute=3), hours=18, seed=8).replace(
        "2025-06-02T04:03:00Z,", "2025-06-02T04:03:00Z,,,,,,,,\n#"
    ),
}


@pytest.fixture
def back(tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path) as make:
        yield make()


@pytest.mark.parametrize("order", list(permutations(TEXTS)), ids=" > ".join)
def test_overlapping_files_give_the_same_rows_to_command_and_service(
    back: BackEnd, order: tuple[str, ...]
) -> None:
    slug = back.add_site()
    for name in order:
        back.hand_in(slug, TEXTS[name], f"{name}.csv")
    worker = back.worker()
    for _ in order:
        worker.work_once()
    with back.database.reading() as db:
        stored = load_rows(db, site_id=back.site_id(slug), start_s=0, end_s=2_000_000_000)
    files = [LogSource(name=name, data=TEXTS[name].encode()) for name in order]
    read = read_logs(files, site=parse_site(site_file()))
    assert stored is not None
    assert stored.stamp_s.tolist() == read.stamp_s.tolist()
    assert set(stored.columns) == set(read.columns)
    for name, values in read.columns.items():
        np.testing.assert_array_equal(values, stored.columns[name], err_msg=name)
    # Not merely what was given last: a corrected log takes the rows of its span away.
    distinct = {stamp for text in TEXTS.values() for stamp in _stamps(text)}
    assert len(read.stamp_s) < len(distinct)


def _stamps(text: str) -> set[str]:
    return {row.split(",")[0] for row in text.splitlines()[1:] if not row.startswith("#")}
