"""SIGKILL at every step of ingest and analysis: after a restart all is there, or nothing was."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import select

from service.db.models import Claim, DayBlock, DayMark, DayRow, SiteReport, Upload
from service.jobs.run import release_dead
from tests.build_service import BackEnd, back_ends, tidy_log
from tests.crash.victim import killed_at

LOG = tidy_log(hours=96)
KEEPING = [
    "bytes on disk, not yet named",
    "file named, folder not flushed",
    "file kept, not yet noted",
    "noted, not yet committed",
]
WORKING = [
    "claimed",
    "claim ended, nothing stored",
    "blocks written, not yet marked",
    "days marked, not yet committed",
    "stored, not yet committed",
    "upload committed",
    "looked, not yet thought",
    "day rows written",
    "marks cleared",
    "report saved, not yet committed",
]


def restart(back: BackEnd) -> None:
    """Do what a started server does: free what the dead held, then work."""
    release_dead(back.database, now=back.clock.now())
    back.worker().work_all()


def contents(back: BackEnd) -> dict[str, object]:
    """Give everything that an upload leaves behind."""
    with back.database.reading() as db:
        uploads = db.execute(select(Upload.state, Upload.rows_kept, Upload.rows_duplicate))
        return {
            "uploads": [tuple(row) for row in uploads],
            "blocks": dict(map(tuple, db.execute(select(DayBlock.day, DayBlock.data)))),
            "rows": {one.date: (one.row, one.numbers) for one in db.scalars(select(DayRow))},
            "report": list(db.scalars(select(SiteReport.report))),
            "marks": list(db.scalars(select(DayMark.date))),
            "claims": list(db.scalars(select(Claim.key))),
        }


@pytest.fixture(scope="module")
def unharmed(tmp_path_factory: pytest.TempPathFactory) -> dict[str, object]:
    """What is there when nothing crashes."""
    with back_ends(tmp_path_factory.mktemp("unharmed")) as make:
        back = make()
        back.add_site()
        back.hand_in("mill-lane-4", LOG)
        back.worker().work_all()
        return contents(back)


@pytest.fixture
def back(tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path) as make:
        back = make()
        back.add_site()
        yield back


@pytest.mark.parametrize("point", KEEPING)
def test_a_crash_while_keeping_leaves_no_trace_and_the_log_can_be_sent_again(
    back: BackEnd, unharmed: dict[str, object], point: str
) -> None:
    assert killed_at(back, "keep", point, log=LOG)
    assert contents(back)["uploads"] == []
    back.hand_in("mill-lane-4", LOG)
    back.worker().work_all()
    assert contents(back) == unharmed


@pytest.mark.parametrize("point", WORKING)
def test_a_crash_while_working_leaves_nothing_in_part_and_is_made_good(
    back: BackEnd, unharmed: dict[str, object], point: str
) -> None:
    back.hand_in("mill-lane-4", LOG)
    assert killed_at(back, "work", point)
    left = contents(back)
    stored = left["uploads"][0][0] == "stored"
    assert stored == bool(left["blocks"])
    assert bool(left["report"]) == bool(left["rows"])
    if stored:
        assert left["blocks"] == unharmed["blocks"]
        assert left["report"] == unharmed["report"] or left["marks"]
    restart(back)
    assert contents(back) == unharmed


def test_a_dead_workers_claim_falls_free_without_its_server(
    back: BackEnd, unharmed: dict[str, object]
) -> None:
    back.hand_in("mill-lane-4", LOG)
    assert killed_at(back, "work", "claimed")
    worker = back.worker()
    assert not worker.work_once()
    back.clock.move(seconds=back.settings.worker_lease_s)
    assert worker.work_once()


@pytest.mark.parametrize("point", ["blocks written, not yet marked", "marks cleared"])
def test_the_same_holds_on_postgresql(
    tmp_path: Path, unharmed: dict[str, object], point: str
) -> None:
    with back_ends(tmp_path, "postgres") as make:
        back = make()
        back.add_site()
        back.hand_in("mill-lane-4", LOG)
        assert killed_at(back, "work", point)
        restart(back)
        assert contents(back) == unharmed
