"""Work that ends its worker, or fails, rests in the database and does not keep others waiting."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import select
from sqlalchemy.exc import OperationalError

from service.db.models import Claim, Site, SiteReport, Upload
from service.ingest import actions, settling
from service.jobs import claims, run
from service.jobs.run import Worker, release_dead
from tests.build_service import BackEnd, back_ends, tidy_log
from tests.crash.test_two_workers import at_once
from tests.crash.victim import killed_at


@pytest.fixture(params=["sqlite", "postgres"])
def back(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path, request.param) as make:
        yield make()


def states(back: BackEnd) -> dict[str, str]:
    with back.database.reading() as db:
        return dict(map(tuple, db.execute(select(Upload.name, Upload.state))))


def test_a_log_that_ends_every_worker_does_not_keep_the_others_waiting(back: BackEnd) -> None:
    back.add_site()
    back.add_site("Elm Row 2")
    back.hand_in("mill-lane-4", tidy_log(hours=24), "poison.csv")
    back.hand_in("elm-row-2", tidy_log(hours=24, seed=2), "good.csv")
    for _ in range(3):
        # `claimed` dies with the oldest task in hand; nothing else was done before.
        assert killed_at(back, "work", "claimed")
        release_dead(back.database, now=back.clock.now())
    back.worker().work_all()
    assert states(back) == {"poison.csv": "kept", "good.csv": "stored"}
    with back.database.reading() as db:
        assert len(db.scalars(select(SiteReport.site_id)).all()) == 1
    back.clock.move(minutes=2)
    back.worker().work_all()
    assert states(back)["poison.csv"] == "stored"
    with back.database.reading() as db:
        assert db.scalars(select(Claim.key)).all() == []


def test_what_fails_rests_longer_each_time_and_is_never_given_up(
    back: BackEnd, monkeypatch: pytest.MonkeyPatch
) -> None:
    slug = back.add_site()
    back.hand_in(slug, tidy_log(hours=24))
    tries: list[float] = []
    start = back.clock.now()

    def fails(*args: object, **more: object) -> None:
        tries.append((back.clock.now() - start) / timedelta(minutes=1))
        raise ZeroDivisionError

    with monkeypatch.context() as patched:
        patched.setattr(settling, "_read", fails)
        for _ in range(180):
            Worker(settings=back.settings, database=back.database, clock=back.clock).work_all()
            back.clock.move(minutes=1)
    assert tries == [0, 2, 6, 14, 30, 62, 122]
    back.clock.move(hours=1)
    back.worker().work_all()
    assert states(back) == {"log.csv": "stored"}


def test_a_database_that_is_away_is_waited_for(
    back: BackEnd, monkeypatch: pytest.MonkeyPatch
) -> None:
    import threading

    slug = back.add_site()
    back.hand_in(slug, tidy_log(hours=24))
    worker = back.worker()
    stopping = threading.Event()
    monkeypatch.setattr(run, "_TROUBLE_PAUSE_S", 0.0)

    def away(self: Worker, *_kind: object, **_most: object) -> list[object]:
        raise OperationalError("SELECT", {}, Exception("server closed the connection"))

    with monkeypatch.context() as patched:
        patched.setattr(Worker, "_take", away)
        assert not run._worked(worker, stopping)
    assert run._worked(worker, stopping)
    assert states(back) == {"log.csv": "stored"}


def test_two_sites_that_get_the_same_log_at_the_same_moment_do_not_both_keep_it(
    back: BackEnd,
) -> None:
    slugs = [back.add_site(f"Site {number}") for number in range(4)]
    log = tidy_log(hours=48)
    for slug in slugs:
        back.hand_in(slug, log)
    workers = [
        Worker(settings=back.settings, database=back.database, clock=back.clock, holder=f"w{n}")
        for n in range(4)
    ]
    at_once(lambda number: workers[number].work_all(), 4)
    back.worker().work_all()
    with back.database.reading() as db:
        found = sorted(db.scalars(select(Upload.state)))
    assert found == ["refused", "refused", "refused", "stored"]


def test_bytes_that_are_noted_while_a_purge_drops_them_are_still_there(back: BackEnd) -> None:
    import io

    from service.ingest.files import RawStore

    slug = back.add_site()
    site_id, raw = back.site_id(slug), RawStore(back.settings.data_dir)
    sha256 = raw.keep([b"a log"]).sha256

    def both(number: int) -> None:
        if number == 0:
            actions.drop_bytes(back.database, raw=raw, hashes=[sha256])
        else:
            actions.receive(
                back.database, raw=raw, site_id=site_id, file=io.BytesIO(b"a log"),
                name="a.csv", via="api", now=back.clock.now(),
            )  # fmt: skip

    for _ in range(10):
        assert at_once(both, 2) == [None, None]
        assert raw.read(sha256) == b"a log"
        with back.database.session() as db:
            db.delete(db.scalars(select(Upload)).one())


def test_what_a_clock_ahead_wrote_is_due_once_the_clock_is_right(back: BackEnd) -> None:
    slug = back.add_site()
    right = back.clock.now()
    back.clock.move(days=365)
    back.hand_in(slug, tidy_log(hours=24))
    back.worker().work_all()
    back.clock.moment = right
    assert back.worker().work_once()
    with back.database.reading() as db:
        assert db.scalars(select(SiteReport.made_at)).one() == right
    assert not back.worker().work_once()


def test_old_mails_and_what_is_left_of_old_claims_are_purged(back: BackEnd) -> None:
    from service.mail import outbox
    from tests.build_mail import add_reader, fleet, mails, timetable

    fleet(back)
    add_reader(back)
    timetable(back).tick()
    assert [mail.state for mail in mails(back)] == [outbox.SENT]
    worker = back.worker()
    for days, left in ((89, 1), (2, 0)):
        back.clock.move(days=days)
        worker.tidy()
        assert len(mails(back)) == left
        with back.database.reading() as db:
            held = db.scalars(select(Claim.state)).all()
        assert held == [claims.DONE] * left


def test_a_log_that_rests_keeps_nothing_else_of_its_site_back_and_is_told_of(
    back: BackEnd,
) -> None:
    slug = back.add_site()
    back.hand_in(slug, tidy_log(hours=24, seed=2), "good.csv")
    back.worker().work_once()
    back.hand_in(slug, tidy_log(hours=24), "poison.csv")
    for _ in range(3):
        assert killed_at(back, "work", "claimed")
        release_dead(back.database, now=back.clock.now())
    with back.database.reading() as db:
        assert "while reading poison.csv" in db.scalars(select(Site.problem)).one()
    back.worker().work_all()
    with back.database.reading() as db:
        assert len(db.scalars(select(SiteReport.site_id)).all()) == 1
    assert states(back) == {"good.csv": "stored", "poison.csv": "kept"}
