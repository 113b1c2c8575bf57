"""Several workers at once: every task is done once."""

import os
import signal
import threading
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import select

from service.assessments import actions
from service.db.engine import Database
from service.db.models import Claim, DayRow, SiteReport, Upload
from service.ingest import queries
from service.jobs import claims
from service.jobs.queries import Task
from service.jobs.run import Worker, release_dead
from tests.build_service import BackEnd, back_ends, tidy_log


@pytest.fixture(params=["sqlite", "postgres"])
def back(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path, request.param) as make:
        yield make()


def counted(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    done: Counter[str] = Counter()
    do = Worker._do

    def counting(self: Worker, task) -> None:
        done[task.key] += 1
        do(self, task)

    monkeypatch.setattr(Worker, "_do", counting)
    return done


def test_four_workers_do_each_task_once(back: BackEnd, monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(4):
        slug = back.add_site(f"Site {number}")
        back.hand_in(slug, tidy_log(hours=48, seed=number))
    done = counted(monkeypatch)
    workers = [
        Worker(settings=back.settings, database=back.database, clock=back.clock, holder=f"w{n}")
        for n in range(4)
    ]
    threads = [threading.Thread(target=worker.work_all) for worker in workers]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    back.worker().work_all()
    assert len(done) == 8
    assert set(done.values()) == {1}
    with back.database.reading() as db:
        assert set(db.scalars(select(Upload.state))) == {"stored"}
        assert list(db.scalars(select(Claim.key))) == []


def test_two_processes_do_each_task_once_though_one_is_killed(
    back: BackEnd, tmp_path: Path
) -> None:
    """What both leave is what one worker alone leaves, row by row."""
    slugs = [back.add_site(f"Site {number}") for number in range(4)]

    def hand_in() -> None:
        for number, slug in enumerate(slugs):
            back.hand_in(slug, tidy_log(hours=48, seed=number))

    note = tmp_path / "done"
    hand_in()
    victim = forked(back, note, dies_at_analysis=2)
    while victim_lives := os.waitpid(victim, os.WNOHANG)[0] == 0:
        if note.exists():
            break
        time.sleep(0.01)
    # However quick it is, it leaves the victim the analyses that it is to die at.
    gone = tmp_path / "gone"
    survivor = forked(back, note, second_analysis_after=gone)
    assert victim_lives
    _, status = os.waitpid(victim, 0)
    gone.touch()
    assert os.WTERMSIG(status) == signal.SIGKILL
    release_dead(back.database, now=back.clock.now())  # as the server does that started it
    os.waitpid(survivor, 0)
    os.waitpid(forked(back, note), 0)
    done = Counter(note.read_text().split())
    assert set(done.values()) == {1}
    assert len(done) == 2 * len(slugs)
    shared = reports(back)
    with back.database.session() as db:
        for site_id in shared:
            queries.mark_everything(db, site_id=site_id, due_at=back.clock.now())
    assert back.worker().work_all() == len(slugs)
    assert reports(back) == shared
    with back.database.reading() as db:
        assert list(db.scalars(select(Claim.key))) == []


def forked(
    back: BackEnd,
    note: Path,
    *,
    dies_at_analysis: int | None = None,
    second_analysis_after: Path | None = None,
) -> int:
    """Fork a worker that notes each task whose effect is committed; gives its process."""
    back.database.close()
    child = os.fork()
    if child:
        return child
    try:
        do, think = Worker._run, actions._think
        begun: list[int] = []

        def noting(self: Worker, task: Task) -> None:
            do(self, task)
            with note.open("a") as file:
                file.write(f"{task.key}\n")

        def dying(*args: object, **more: object):
            begun.append(1)
            if len(begun) == dies_at_analysis:
                os.kill(os.getpid(), signal.SIGKILL)
            while len(begun) == 2 and second_analysis_after and not second_analysis_after.exists():
                time.sleep(0.01)
            return think(*args, **more)

        Worker._run, actions._think = noting, dying
        replace(back, database=Database(back.settings.url)).worker().work_all()
    finally:
        os._exit(0)


def reports(back: BackEnd) -> dict[int, tuple[object, object]]:
    """Give report and day rows of every site."""
    with back.database.reading() as db:
        made = dict(map(tuple, db.execute(select(SiteReport.site_id, SiteReport.report))))
        days = select(DayRow.date, DayRow.row, DayRow.numbers, DayRow.method).order_by(DayRow.date)
        return {
            site_id: (report, list(map(tuple, db.execute(days.where(DayRow.site_id == site_id)))))
            for site_id, report in made.items()
        }


def test_whoever_lost_its_claim_changes_nothing(
    back: BackEnd, monkeypatch: pytest.MonkeyPatch
) -> None:
    from service.ingest import settling

    slug = back.add_site()
    back.hand_in(slug, tidy_log(hours=48))
    slow = Worker(settings=back.settings, database=back.database, clock=back.clock, holder="slow")
    quick = Worker(settings=back.settings, database=back.database, clock=back.clock, holder="quick")
    read = settling._read
    overtaken: list[bool] = []

    def overtaking(*args: object, **more: object):
        if not overtaken:
            overtaken.append(True)
            back.clock.move(seconds=back.settings.worker_lease_s + 1)
            quick.work_all()
        return read(*args, **more)

    monkeypatch.setattr(settling, "_read", overtaking)
    finishes: list[str] = []
    finish = claims.finish

    def noting(db, *, key: str, holder: str) -> None:
        finish(db, key=key, holder=holder)
        finishes.append(f"{holder} {key.split(':')[0]}")

    monkeypatch.setattr(claims, "finish", noting)
    slow.work_once()
    assert finishes == ["quick upload", "quick assess"]
    with back.database.reading() as db:
        assert db.scalar(select(Upload.rows_kept)) == 288
    assert not slow.work_once()


def at_once(work, count: int) -> list[object]:
    """Do something in several threads at the same moment; errors are given back too."""
    gate = threading.Barrier(count)
    results: list[object] = []

    def one(number: int) -> None:
        gate.wait()
        try:
            results.append(work(number))
        except Exception as error:
            results.append(error)

    threads = [threading.Thread(target=one, args=(number,)) for number in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return results


def test_the_same_log_sent_at_the_same_moment_is_one_upload(back: BackEnd) -> None:
    slug = back.add_site()
    log = tidy_log(hours=24)
    assert set(at_once(lambda _: back.hand_in(slug, log), 6)) == {1}


def test_sites_added_at_the_same_moment_get_addresses_of_their_own(back: BackEnd) -> None:
    slugs = at_once(lambda _: back.add_site("Mill"), 5)
    assert sorted(map(str, slugs)) == ["mill", "mill-2", "mill-3", "mill-4", "mill-5"]


def test_gateways_pushing_at_the_same_moment_lose_nothing(back: BackEnd) -> None:
    from service.ingest.batches import push_rows
    from service.ingest.pushes import parse_push
    from service.ingest.schemas import Pushed

    slug = back.add_site()
    site_id = back.site_id(slug)

    def push(number: int) -> Pushed:
        time = f"2025-06-20T11:{number:02}:00Z"
        body = b'{"rows": [{"time": "%s", "flow_l_min": 2}]}' % time.encode()
        with back.database.session() as db:
            rows = parse_push(body, now_s=int(back.clock.now().timestamp()))
            return push_rows(
                db, site_id=site_id, rows=rows, size_bytes=9, now=back.clock.now(), settle_s=60
            )

    assert at_once(push, 12) == [Pushed(accepted=1, new=1, changed=0)] * 12
    with back.database.reading() as db:
        upload = db.scalars(select(Upload)).one()
        assert (upload.rows_read, upload.rows_kept) == (12, 12)
