"""Several workers at once: every task is done once."""

import threading
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import select

from service.db.models import Claim, Upload
from service.jobs import claims
from service.jobs.run import Worker
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
    from service.ingest.actions import push_rows
    from service.ingest.pushes import parse_push

    slug = back.add_site()
    site_id = back.site_id(slug)

    def push(number: int) -> tuple[int, int, int]:
        time = f"2025-06-20T11:{number:02}:00Z"
        body = b'{"rows": [{"time": "%s", "flow_l_min": 2}]}' % time.encode()
        with back.database.session() as db:
            rows = parse_push(body, now_s=int(back.clock.now().timestamp()))
            return push_rows(
                db, site_id=site_id, rows=rows, size_bytes=9, now=back.clock.now(), settle_s=60
            )

    assert at_once(push, 12) == [(1, 1, 0)] * 12
    with back.database.reading() as db:
        upload = db.scalars(select(Upload)).one()
        assert (upload.rows_read, upload.rows_kept) == (12, 12)
