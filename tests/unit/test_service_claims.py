"""Claims: one holder at a time, and whoever lost it cannot commit."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from service.db.engine import Database
from service.jobs import claims
from tests.build_service import back_ends
from tests.crash.test_two_workers import at_once

NOW = datetime(2025, 6, 2, 4, 0, tzinfo=UTC)
LEASE = timedelta(minutes=1)


@pytest.fixture(params=["sqlite", "postgres"])
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    with back_ends(tmp_path, request.param) as make:
        yield make().database


def take(database: Database, holder: str, *, at: datetime = NOW) -> int:
    with database.session() as db:
        return claims.claim(db, key="digest:2025-W23", holder=holder, now=at, until=at + LEASE)


def test_only_one_gets_a_key_until_its_lease_ends(database: Database) -> None:
    assert take(database, "a")
    assert not take(database, "b")
    assert not take(database, "b", at=NOW + LEASE - timedelta(seconds=1))
    assert take(database, "b", at=NOW + LEASE)


def test_a_renewed_lease_lasts_longer(database: Database) -> None:
    take(database, "a")
    with database.session() as db:
        claims.renew(db, holder="a", keys=["digest:2025-W23"], until=NOW + 3 * LEASE)
    assert not take(database, "b", at=NOW + 2 * LEASE)


def test_done_is_for_good(database: Database) -> None:
    take(database, "a")
    with database.session() as db:
        claims.done(db, key="digest:2025-W23", holder="a")
    assert not take(database, "a", at=NOW + timedelta(days=3))
    assert not take(database, "b", at=NOW + timedelta(days=3))


def test_finished_work_can_come_back(database: Database) -> None:
    take(database, "a")
    with database.session() as db:
        claims.finish(db, key="digest:2025-W23", holder="a")
    assert take(database, "b")


@pytest.mark.parametrize("ending", [claims.done, claims.finish])
def test_whoever_lost_the_claim_cannot_commit(database: Database, ending) -> None:
    take(database, "a")
    take(database, "b", at=NOW + 2 * LEASE)
    with pytest.raises(claims.LostClaimError), database.session() as db:
        ending(db, key="digest:2025-W23", holder="a")
    assert not take(database, "c", at=NOW + 2 * LEASE)


def test_a_dead_holder_loses_everything_at_once(database: Database) -> None:
    take(database, "a")
    with database.session() as db:
        claims.release_dead(db, holder="a", now=NOW)
    assert take(database, "b")


def test_a_lease_given_by_a_clock_far_ahead_holds_nobody_up(database: Database) -> None:
    take(database, "a", at=NOW + timedelta(days=365))
    assert take(database, "b")


def test_what_was_not_begun_costs_no_try_and_keeps_those_before(database: Database) -> None:
    for holder, tries in (("a", 1), ("b", 1)):
        assert take(database, holder) == tries
        put_back(database, holder)
    take(database, "a")
    with database.session() as db:
        claims.release_lost(db, keys=["digest:2025-W23"], holder="a", now=NOW)
    for holder in "bc":
        assert take(database, holder) == 2
        put_back(database, holder)


def put_back(database: Database, holder: str) -> None:
    with database.session() as db:
        claims.put_back(db, keys=["digest:2025-W23"], holder=holder, now=NOW)


def test_keys_are_given_back_while_they_are_renewed(database: Database) -> None:
    keys = [f"assess:{number}" for number in range(32)]

    def renew(part: int) -> None:
        with database.session() as db:
            if part:
                claims.renew(db, holder="a", keys=keys, until=NOW + 2 * LEASE)
            else:
                claims.put_back(db, keys=keys, holder="a", now=NOW)

    for _ in range(10):
        with database.session() as db:
            for key in reversed(keys):
                assert claims.claim(db, key=key, holder="a", now=NOW, until=NOW + LEASE)
        assert at_once(renew, 2) == [None, None]
