"""Full disks, locked databases, read-only folders, wrong clocks: said plainly, and nothing lost."""

import contextlib
import errno
import os
import sqlite3
import subprocess
import sys
import tempfile
from argparse import Namespace
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import event
from sqlalchemy.exc import OperationalError

from service.cli import main
from service.clock import Steadiness
from service.db.models import Site, Upload
from service.jobs.run import Worker
from service.serve import StartError, only_server, open_database, serve
from service.settings import Settings
from tests.build_service import LOCAL, BackEnd, back_end, back_ends, tidy_log

LOG = tidy_log(hours=24)


@contextmanager
def client_of(back: BackEnd) -> Iterator[TestClient]:
    with TestClient(back.app(), base_url=LOCAL, raise_server_exceptions=False) as client:
        yield client


@pytest.fixture
def back(tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path) as make:
        back = make()
        back.add_site()
        yield back


def uploads(back: BackEnd) -> list[Upload]:
    with back.database.reading() as db:
        return list(db.query(Upload))


def left_behind(back: BackEnd) -> list[Path]:
    return list(back.settings.data_dir.glob("uploads/.incoming-*"))


def send(client: TestClient, content: bytes):
    return client.post("/api/sites/mill-lane-4/logs", content=content)


def test_a_disk_that_is_full_at_the_last_moment_takes_nothing(
    back: BackEnd, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_descriptor: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with client_of(back) as client:
        with monkeypatch.context() as patch:
            patch.setattr(os, "fsync", full)
            answer = send(client, LOG.encode())
        assert answer.status_code == 507
        assert "Make room, then send it again" in answer.json()["detail"]
        assert (uploads(back), left_behind(back)) == ([], [])
        assert send(client, LOG.encode()).status_code == 202


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """Give a disk of 2 MiB."""
    folder = tmp_path / "disk"
    folder.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(folder)],
        capture_output=True, check=False,
    )  # fmt: skip
    if made.returncode:
        pytest.skip("no small disk can be made here: a full one was tried by its error only")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def test_a_disk_that_is_really_full_takes_nothing_and_then_all(small_disk: Path) -> None:
    back = back_end(small_disk)
    back.add_site()
    ballast = small_disk / "ballast"
    with client_of(back) as client:
        with ballast.open("wb", buffering=0) as out, contextlib.suppress(OSError):
            while out.write(bytes(1024)):
                pass
        answer = send(client, LOG.encode())
        assert (answer.status_code, answer.json()["title"]) == (507, "No room left")
        assert (uploads(back), left_behind(back)) == ([], [])
        assert client.get("/api/sites").json()[0]["slug"] == "mill-lane-4"
        ballast.unlink()
        assert send(client, LOG.encode()).status_code == 202
    assert len(uploads(back)) == 1
    back.database.close()


def test_a_full_database_keeps_what_was_accepted_until_there_is_room(back: BackEnd) -> None:
    number = back.hand_in("mill-lane-4", tidy_log(hours=192))  # more than free pages hold
    back.database.close()

    def no_room(connection, _record) -> None:
        connection.execute("PRAGMA max_page_count = 1")  # it holds more: SQLite takes no new page

    event.listen(back.database.engine, "connect", no_room)
    worker = back.worker()
    assert worker.work_once()
    with back.database.reading() as db:
        said = db.get_one(Site, back.site_id("mill-lane-4")).problem
    assert "could not be assessed (the database did not take it); it is tried again" in said
    assert [(one.id, one.state) for one in uploads(back)] == [(number, "kept")]
    with client_of(back) as client:
        answers = {send(client, f"{LOG}{number}".encode()).status_code for number in range(200)}
    assert 507 in answers
    event.remove(back.database.engine, "connect", no_room)
    back.database.close()
    back.clock.move(minutes=3)
    worker.work_once()
    assert uploads(back)[0].state == "stored"


def test_a_database_that_another_process_holds_is_said(
    back: BackEnd, monkeypatch: pytest.MonkeyPatch
) -> None:
    from service.db import engine

    monkeypatch.setattr(engine, "_BUSY_MS", 50)
    back.database.close()
    number = back.hand_in("mill-lane-4", LOG)
    code = (
        "import sqlite3, sys\n"
        "held = sqlite3.connect(sys.argv[1], isolation_level=None)\n"
        "held.execute('BEGIN IMMEDIATE')\n"
        "print('held', flush=True)\n"
        "sys.stdin.read()"
    )
    path = back.settings.data_dir / "suntally.db"
    holder = subprocess.Popen(
        [sys.executable, "-c", code, str(path)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(OperationalError, match="locked"):
            back.worker().work_once()
        with pytest.raises(StartError, match="another program holds the database"):
            open_database(back.settings, back.clock)
    finally:
        holder.communicate("")
    assert [(one.id, one.state) for one in uploads(back)] == [(number, "kept")]
    assert back.worker().work_once()
    assert uploads(back)[0].state == "stored"


@contextmanager
def nobody() -> Iterator[None]:
    """Be a user without rights for a while, where the tests run as the one who has them all."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def read_only() -> Iterator[BackEnd]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        back = back_end(folder)
        back.add_site()
        back.database.close()
        paths = [back.settings.data_dir, *back.settings.data_dir.rglob("*")]
        for path in paths:
            path.chmod(0o555 if path.is_dir() else 0o444)
        yield back
        for path in paths:
            if path.exists():
                path.chmod(0o755)


def test_a_folder_that_can_only_be_read_is_said(
    read_only: BackEnd, capsys: pytest.CaptureFixture[str]
) -> None:
    held = (read_only.settings.data_dir / "suntally.db").read_bytes()
    with nobody():
        assert serve(Namespace(data_dir=read_only.settings.data_dir)) == 2
        said = capsys.readouterr().err
        assert "cannot be used (Permission denied)" in said
    assert said.count("\n") == 1
    assert (read_only.settings.data_dir / "suntally.db").read_bytes() == held


def test_a_database_file_that_can_only_be_read_is_said(read_only: BackEnd) -> None:
    read_only.settings.data_dir.chmod(0o777)
    with nobody(), pytest.raises(StartError, match="give this program's user leave to write"):
        open_database(read_only.settings, read_only.clock)


def test_a_folder_that_becomes_read_only_takes_nothing(back: BackEnd) -> None:
    with client_of(back) as client:
        back.database.close()

        def only_reads(connection: sqlite3.Connection, _record: object) -> None:
            connection.execute("PRAGMA query_only = ON")

        event.listen(back.database.engine, "connect", only_reads)
        answer = send(client, LOG.encode())
        assert answer.status_code == 507
        assert "give the service leave to write" in answer.json()["detail"]
        assert uploads(back) == []
        event.remove(back.database.engine, "connect", only_reads)
        back.database.close()
        assert send(client, LOG.encode()).status_code == 202


def test_a_log_that_a_late_clock_refused_is_kept_and_read_when_sent_again(back: BackEnd) -> None:
    back.clock.move(days=-400)
    with client_of(back) as client:
        assert send(client, LOG.encode()).status_code == 202
        back.worker().work_all()
        (refused,) = uploads(back)
        assert "in the future" in refused.message
        back.clock.move(days=400)
        assert send(client, LOG.encode()).json()["uploads"][0]["id"] == refused.id
    back.worker().work_once()
    assert [one.state for one in uploads(back)] == ["stored"]


def test_work_goes_on_when_the_clock_was_ahead(back: BackEnd) -> None:
    back.clock.move(days=400)
    worker = back.worker()
    worker.beat()
    worker.tidy()
    back.hand_in("mill-lane-4", LOG)
    assert worker.work_once()  # read by the wrong clock
    back.clock.move(days=-400)
    with client_of(back) as client:
        assert client.get("/health").json()["worker"] == "starting"
        back.clock.move(minutes=5)
        assert client.get("/health").json()["worker"] == "silent"  # that sign was of another time
        worker.beat()
        assert client.get("/health").json()["worker"] == "alive"
        assert worker.work_once()  # looked at by the right one
        assert client.get("/api/sites/mill-lane-4/report").status_code == 200


def test_a_worker_tidies_again_after_the_clock_went_back(back: BackEnd) -> None:
    worker = back.worker()
    stale = worker.raw.folder / ".incoming-old"
    worker.tidy()
    stale.touch()
    os.utime(stale, (0, 0))
    back.clock.move(minutes=-10)
    worker.tidy()
    assert stale.exists()  # within the hour
    back.clock.move(days=-400)
    worker.tidy()
    assert not stale.exists()


def test_nothing_is_purged_by_a_clock_that_was_just_set(back: BackEnd) -> None:
    ticks = [1000.0]
    worker = Worker(
        settings=back.settings,
        database=back.database,
        clock=back.clock,
        steady=Steadiness(lambda: ticks[0]).seen,
    )

    def passes(*, wall_s: float, really_s: float) -> None:
        back.clock.move(seconds=wall_s)
        ticks[0] += really_s
        worker.tidy()

    def there() -> bool:
        with back.database.reading() as db:
            return db.get(Site, number) is not None

    number = back.site_id("mill-lane-4")
    worker.tidy()
    with back.database.session() as db:
        db.get_one(Site, number).deleted_at = back.clock.now()
    passes(wall_s=400 * 86_400, really_s=1)  # it jumps ahead
    passes(wall_s=3601, really_s=1)
    assert there()
    passes(wall_s=-400 * 86_400, really_s=600)  # and is put right
    passes(wall_s=7200, really_s=7200)
    assert there()  # a few hours in the bin
    for _ in range(31):
        passes(wall_s=86_400, really_s=86_400)
    assert not there()


def test_a_clock_that_goes_straight_is_trusted_after_fifty_minutes() -> None:
    ticks = [0.0]
    watch = Steadiness(lambda: ticks[0])
    start = datetime(2025, 6, 1, tzinfo=UTC)

    def seen(after_s: float, *, ahead_s: float = 0.0) -> bool:
        ticks[0] = after_s
        return watch.seen(start + timedelta(seconds=after_s + ahead_s))

    assert [seen(0), seen(2999), seen(3000)] == [False, False, True]
    assert [seen(3001, ahead_s=61), seen(6000, ahead_s=61), seen(6001, ahead_s=61)] == [
        False, False, True,
    ]  # fmt: skip
    assert seen(6002, ahead_s=50)  # what a time server slews away is no jump


def test_a_second_server_on_one_database_says_so_and_stops(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings = Settings(data_dir=tmp_path / "data")
    with only_server(settings):
        assert main(["serve", "--data-dir", str(settings.data_dir), "--port", "0"]) == 2
        said = capsys.readouterr().err
        assert f"another server (process {os.getpid()}) uses {settings.data_dir} already" in said
        assert not (settings.data_dir / "suntally.db").exists()
    with only_server(settings):
        pass  # whoever ends frees it


def test_servers_on_postgresql_share_it(tmp_path: Path) -> None:
    settings = Settings(data_dir=tmp_path / "data", database_url="postgresql+psycopg://h/x")
    with only_server(settings), only_server(settings):
        pass
