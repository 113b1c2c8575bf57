"""Overlapping logs: command and service follow one rule, whatever the order of the files."""

from collections.abc import Iterator
from datetime import UTC, datetime
from io import StringIO
from itertools import permutations
from pathlib import Path
from zipfile import ZipFile

import numpy as np
import pytest

from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource, ParsedLog
from analysis.sitefile import parse_site
from service.ingest.queries import load_rows
from service.progress import Progress
from service.report_files import sources_of
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
    files = [LogSource(name=name, data=TEXTS[name].encode()) for name in order]
    read = read_logs(files, site=parse_site(site_file()))
    assert_stored(back, slug, read)
    # Not merely what was given last: a corrected log takes the rows of its span away.
    distinct = {stamp for text in TEXTS.values() for stamp in _stamps(text)}
    assert len(read.stamp_s) < len(distinct)


def test_files_of_an_archive_are_one_layer_to_both(back: BackEnd, tmp_path: Path) -> None:
    first, *others = TEXTS
    (tmp_path / "first.csv").write_text(TEXTS[first])
    with ZipFile(tmp_path / "more.zip", "w") as archive:
        for name in others:
            archive.writestr(f"{name}.csv", TEXTS[name])
    names = ["first.csv", "more.zip"]
    slug = back.add_site()
    for name in names:
        back.hand_in(slug, (tmp_path / name).read_bytes(), name)
    worker = back.worker()
    for _ in names:
        worker.work_once()
    sources = sources_of([str(tmp_path / name) for name in names], Progress(StringIO()))
    assert [one.bundle for one in sources] == [0, 1, 1]
    assert_stored(back, slug, read_logs(sources, site=parse_site(site_file())))


def assert_stored(back: BackEnd, slug: str, read: ParsedLog) -> None:
    with back.database.reading() as db:
        stored = load_rows(db, site_id=back.site_id(slug), start_s=0, end_s=2_000_000_000)
    assert stored is not None
    assert stored.stamp_s.tolist() == read.stamp_s.tolist()
    assert set(stored.columns) == set(read.columns)
    for name, values in read.columns.items():
        np.testing.assert_array_equal(values, stored.columns[name], err_msg=name)


def _stamps(text: str) -> set[str]:
    return {row.split(",")[0] for row in text.splitlines()[1:] if not row.startswith("#")}
