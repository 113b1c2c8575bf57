"""Tries to sign in beyond the limit: on record, and bounded whatever a flood does."""

import asyncio
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pyotp
import pytest
from sqlalchemy import event, select
from sqlalchemy.exc import OperationalError
from starlette.testclient import TestClient

from service.accounts import queries, sign_ins
from service.accounts.actions import reset_password
from service.accounts.held_tries import Held, HeldTries
from service.db.models import Account, TrailEntry
from tests.build_service import BackEnd, back_ends

PUBLIC = "http://sun.example"
PASSWORD = "correct horse"
KEY = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"  # RFC 6238, appendix B
NOON = datetime(2025, 6, 20, 12, 0, tzinfo=UTC)


@pytest.fixture(params=["sqlite", "postgres"])
def back(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path, request.param) as make:
        back = make(host="0.0.0.0")
        with back.database.session() as db:
            reset_password(db, login="owner", password=PASSWORD, now=back.clock.now())
        yield back


@pytest.fixture
def client(back: BackEnd) -> TestClient:
    headers = {"accept": "text/html"}
    return TestClient(back.app(), base_url=PUBLIC, headers=headers, follow_redirects=False)


def sign_in(client: TestClient, password: str = "wrong", login: str = "owner") -> str:
    answer = client.post("/sign-in", data={"login": login, "password": password})
    return str(answer.headers["location"])


def noted(back: BackEnd, client: TestClient) -> list[tuple[str, str | None, int]]:
    """Have noted what was counted; gives the lines about it."""
    sign_ins.note_held(back.database, client.app.state.held_tries)
    return lines(back)


def lines(back: BackEnd) -> list[tuple[str, str | None, int]]:
    with back.database.reading() as db:
        found = select(TrailEntry).where(TrailEntry.what == sign_ins.HELD).order_by(TrailEntry.id)
        return [(one.who, one.subject, one.count) for one in db.scalars(found)]


# --- at the address


def test_tries_beyond_the_limit_are_one_line_with_their_count(back, client):
    told = [sign_in(client) for _ in range(12)]
    assert sum("error=wait" in one for one in told) == 7
    assert noted(back, client) == [("owner", "from testclient", 7)]
    assert [sign_in(client) for _ in range(3)] == [told[-1]] * 3
    assert noted(back, client) == [("owner", "from testclient", 10)]
    assert noted(back, client) == [("owner", "from testclient", 10)]  # nothing new
    back.clock.move(hours=1)
    for _ in range(6):
        sign_in(client)
    assert noted(back, client)[1:] == [("owner", "from testclient", 1)]


def test_a_try_that_is_turned_away_asks_nothing_of_the_database(back, client):
    for _ in range(5):
        sign_in(client)
    statements: list[str] = []

    def heard(_connection, _cursor, statement, *_more) -> None:
        statements.append(statement)

    event.listen(back.database.engine, "before_cursor_execute", heard)
    try:
        for _ in range(100):
            assert "error=wait" in sign_in(client)
        assert statements == []
    finally:
        event.remove(back.database.engine, "before_cursor_execute", heard)
    assert noted(back, client) == [("owner", "from testclient", 100)]


def test_no_name_that_nobody_has_is_kept(back, client):
    for _ in range(5):
        sign_in(client)
    for login in ("my secret password", "x" * 5000, "a\0b", "two\nlines"):
        assert "error=wait" in sign_in(client, login=login)
    assert noted(back, client) == [(sign_ins.NOBODY, "from testclient", 4)]


def test_codes_beyond_the_limit_are_counted_too(back, client):
    with back.database.session() as db:
        account = db.scalar(select(Account))
        account.totp_secret, account.totp_confirmed = KEY, True
    sign_in(client, PASSWORD)
    told = [
        client.post("/sign-in/code", data={"code": "000000"}).headers["location"] for _ in range(8)
    ]
    assert sum("error=again" in one for one in told) == 3
    assert noted(back, client) == [("owner", "from testclient", 3)]
    # Not even the right one, until the password is given anew.
    code = pyotp.TOTP(KEY).at(back.clock.now())
    late = client.post("/sign-in/code", data={"code": code}).headers["location"]
    assert "error=again" in late


def test_owner_and_person_read_of_them(back, client):
    for _ in range(5 + 2):
        sign_in(client)
    for _ in range(1198):  # each as the two before
        client.app.state.held_tries.add(login="owner", address="testclient", now=back.clock.now())
    assert noted(back, client) == [("owner", "from testclient", 1200)]
    back.clock.move(minutes=2)
    sign_in(client, PASSWORD)
    said = "was turned away after too many wrong passwords or codes, 1,200 times"
    assert said in client.get("/trail").text
    assert "1,205 attempts failed" in client.get("/account").text


def test_what_was_turned_away_before_a_sign_in_is_not_told_as_after_it(back, client):
    back.clock.moment = back.clock.moment.replace(minute=0)
    for _ in range(7):
        sign_in(client)
    back.clock.move(minutes=2)
    for _ in range(2):
        sign_in(client, PASSWORD)
        back.clock.move(minutes=1)
    assert noted(back, client) == [("owner", "from testclient", 2)]  # a little late
    assert "No attempt has failed" in client.get("/account").text


def test_they_are_forgotten_like_the_failed_ones(back, client):
    for _ in range(6):
        sign_in(client)
    noted(back, client)
    back.clock.move(days=91)
    back.worker().tidy()
    assert lines(back) == []


# --- when they are noted


def test_they_are_noted_again_and_again_and_at_the_end(back, monkeypatch):
    monkeypatch.setattr(sign_ins, "_HELD_NOTED_EVERY_S", 0.02)
    tries = HeldTries()

    async def until(count: int) -> None:
        async with asyncio.timeout(60):
            while sum(times for *_, times in lines(back)) < count:
                await asyncio.sleep(0.01)

    async def a_while() -> None:
        async with sign_ins.noting_held(back.database, tries):
            for count in (1, 2):
                tries.add(login="owner", address="a", now=NOON)
                await until(count)
            monkeypatch.setattr(sign_ins, "_HELD_NOTED_EVERY_S", 3600.0)
            await asyncio.sleep(0.1)
            tries.add(login="owner", address="a", now=NOON)

    asyncio.run(a_while())
    assert lines(back) == [("owner", "from a", 3)]


def test_the_service_notes_what_is_left_when_it_stops(back):
    with TestClient(back.app(), base_url=PUBLIC, follow_redirects=False) as client:
        for _ in range(8):
            sign_in(client)
    assert lines(back) == [("owner", "from testclient", 3)]


def test_what_cannot_be_stored_waits_for_the_next_time(back, client, monkeypatch, caplog):
    for _ in range(7):
        sign_in(client)

    def full(*_given: object, **_named: object) -> None:
        raise OperationalError("INSERT", {}, Exception("the disk is full"))

    with monkeypatch.context() as broken:
        broken.setattr(queries, "lock_firm", full)
        assert noted(back, client) == []
    assert "could not be noted" in caplog.text
    sign_in(client)
    assert noted(back, client) == [("owner", "from testclient", 3)]


# --- bounded


def test_a_flood_from_everywhere_is_bounded_in_memory_and_on_record(back):
    tries = HeldTries()
    for number in range(5000):
        login = "owner" if number % 2 else f"name {number}"
        tries.add(login=login, address=f"2001:db8::{number:x}", now=NOON)
    with tries.taken() as taken:
        assert len(taken) == 201  # and one for all others
        assert sum(held.count for held in taken.values()) == 5000
    tries = HeldTries()
    # Once the first have filled the hour's lines, a few a minute show whether it grows.
    for minute, addresses in enumerate([1000, 1000, *[4] * 28]):
        for number in range(addresses):
            login = "owner" if number % 2 else f"name {number}"
            address = f"2001:db8:{minute:x}::{number:x}"
            tries.add(login=login, address=address, now=NOON + timedelta(minutes=minute))
        sign_ins.note_held(back.database, tries)
    found = lines(back)
    assert len(found) <= 52
    assert sum(count for *_, count in found) == 2_112


def test_none_is_lost_between_threads():
    tries = HeldTries()
    taken: list[Held] = []

    def add() -> None:
        for _ in range(500):
            tries.add(login="owner", address="a", now=NOON)

    def take() -> None:
        for _ in range(200):
            with tries.taken() as some:
                taken.extend(some.values())

    threads = [threading.Thread(target=one) for one in (add, add, take, add)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    take()
    assert sum(held.count for held in taken) == 1500
