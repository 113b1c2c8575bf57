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
    from service.ingest import actions

    slug = back.add_site()
    back.hand_in(slug, tidy_log(hours=48))
    slow = Worker(settings=back.settings, database=back.database, clock=back.clock, holder="slow")
    quick = Worker(settings=back.settings, database=back.database, clock=back.clock, holder="quick")
    read = actions._read
    overtaken: list[bool] = []

    def overtaking(*args: object, **more: object):
        if not overtaken:
            overtaken.append(True)
            back.clock.move(seconds=back.settings.worker_lease_s + 1)
            quick.work_all()
        return read(*args, **more)

    monkeypatch.setattr(actions, "_read", overtaking)
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
