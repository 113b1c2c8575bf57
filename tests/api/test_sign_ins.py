"""Sign-ins that end when nobody uses them, and failed ones on record, bounded."""

import asyncio
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pyotp
import pytest
from sqlalchemy import event, select
from starlette.requests import Request
from starlette.testclient import TestClient

from service.accounts import sign_ins
from service.accounts.actions import make_setup_link, reset_password
from service.accounts.people import new_firm
from service.afterwards import Afterwards, after_the_answer
from service.asgi import Message, Receive, Scope, Send
from service.db.models import Account, TrailEntry, WebSession
from tests.build_service import BackEnd, back_ends

PUBLIC = "http://sun.example"
PASSWORD = "correct horse"
KEY = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"  # RFC 6238, appendix B


@pytest.fixture(params=["sqlite", "postgres"])
def back(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path, request.param) as make:
        yield make(host="0.0.0.0", session_idle_hours=12)


@pytest.fixture
def client(back: BackEnd) -> Iterator[TestClient]:
    with back.database.session() as db:
        reset_password(db, login="owner", password=PASSWORD, now=back.clock.now())
    headers = {"accept": "text/html"}
    with TestClient(back.app(), base_url=PUBLIC, headers=headers, follow_redirects=False) as one:
        yield one


def sign_in(client: TestClient, password: str = PASSWORD, login: str = "owner") -> str:
    answer = client.post("/sign-in", data={"login": login, "password": password})
    return str(answer.headers["location"])


def is_in(client: TestClient) -> bool:
    return client.get("/settings").status_code == 200


def failures(back: BackEnd) -> list[tuple[str, str, str | None, int]]:
    with back.database.reading() as db:
        found = select(TrailEntry).where(TrailEntry.what.like("%failed")).order_by(TrailEntry.id)
        return [(one.who, one.what, one.subject, one.count) for one in db.scalars(found)]


# --- ended for want of use


def test_a_sign_in_ends_when_nobody_uses_it(back, client):
    sign_in(client)
    back.clock.move(hours=11.9)
    assert is_in(client)
    back.clock.move(hours=11.9)  # used in between, so it goes on
    assert is_in(client)
    back.clock.move(hours=12.1)
    assert not is_in(client)
    assert client.get("/api/sites", headers={"accept": "*/*"}).status_code == 401


def test_use_does_not_make_it_last_beyond_its_days(back, client):
    sign_in(client)
    for _ in range(30 * 4 - 1):
        back.clock.move(hours=6)
        assert is_in(client)
    back.clock.move(hours=6)
    assert not is_in(client)


def test_use_is_noted_every_few_minutes_and_not_with_each_request(back, client):
    sign_in(client)
    statements: list[str] = []

    def heard(_connection, _cursor, statement, *_more) -> None:
        if not statement.startswith(("SELECT", "BEGIN", "PRAGMA")):
            statements.append(statement)

    event.listen(back.database.engine, "before_cursor_execute", heard)
    try:
        for _ in range(10):
            back.clock.move(seconds=29)
            assert is_in(client)
        assert statements == []
        back.clock.move(seconds=29)
        assert is_in(client)
        assert is_in(client)
        assert [one.split()[:2] for one in statements] == [["UPDATE", "web_session"]]
    finally:
        event.remove(back.database.engine, "before_cursor_execute", heard)


def test_changing_something_counts_as_use(back, client):
    sign_in(client)
    for _ in range(3):
        back.clock.move(hours=8)
        assert client.post("/account/second-factor").status_code == 303
    back.clock.move(hours=8)
    assert is_in(client)


def test_what_nobody_uses_is_forgotten_at_the_next_sign_in(back, client):
    sign_in(client)
    back.clock.move(hours=13)
    sign_in(client)
    with back.database.reading() as db:
        assert len(list(db.scalars(select(WebSession)))) == 1


def test_a_page_is_read_though_its_use_cannot_be_noted(back, client, monkeypatch, caplog):
    from sqlalchemy.exc import OperationalError

    from service.accounts import queries

    def full(*_given: object, **_named: object) -> None:
        raise OperationalError("UPDATE", {}, Exception("the disk is full"))

    sign_in(client)
    back.clock.move(minutes=6)
    monkeypatch.setattr(queries, "note_use", full)
    assert is_in(client)
    assert "the use of a sign-in was not noted" in caplog.text


def test_the_use_of_a_sign_in_is_noted_once_the_page_is_sent():
    told: list[str] = []

    async def app(scope: Scope, receive: Receive, send: Send) -> None:
        after_the_answer(Request(scope), lambda: told.append("noted"))
        await send({"type": "http.response.body", "body": b"the page"})

    async def sent(message: Message) -> None:
        told.append("answered")

    async def nothing() -> Message:
        return {}

    asyncio.run(Afterwards(app)({"type": "http"}, nothing, sent))
    assert told == ["answered", "noted"]


# --- failed ones on record


def test_failed_sign_ins_are_counted_by_account_address_and_hour(back, client):
    back.clock.moment = back.clock.moment.replace(minute=0)
    for _ in range(3):
        assert "error=wrong" in sign_in(client, "a wrong one")
    back.clock.move(hours=1)
    sign_in(client, "a wrong one")
    one = ("owner", "sign-in-failed", "from testclient")
    assert failures(back) == [(*one, 3), (*one, 1)]


def test_no_password_and_no_unknown_name_is_kept(back, client):
    for login in ("my secret password", "somebody"):
        sign_in(client, "another secret", login=login)
    assert failures(back) == [(sign_ins.NOBODY, "sign-in-failed", "from testclient", 2)]
    with back.database.reading() as db:
        kept = " ".join(
            f"{one.who} {one.what} {one.subject}" for one in db.scalars(select(TrailEntry))
        )
    assert "secret" not in kept
    assert "somebody" not in kept


def test_a_flood_from_everywhere_is_a_bounded_number_of_lines(back, client):
    now = back.clock.now()
    for number in range(120):
        sign_ins.note_failure(
            back.database,
            login="owner" if number % 2 else f"name {number}",
            address=f"2001:db8::{number:x}",
            what=sign_ins.FAILED,
            now=now,
        )
    lines = failures(back)
    assert len(lines) <= 52
    assert sum(count for *_, count in lines) == 120
    assert {subject for *_, subject, count in lines if count > 1} == {"other addresses"}


def test_failed_ones_are_forgotten_after_ninety_days_and_nothing_else(back, client):
    sign_in(client, "wrong")
    sign_in(client)
    back.clock.move(days=89)
    back.worker().tidy()
    assert len(failures(back)) == 1
    back.clock.move(days=2)
    back.worker().tidy()
    assert failures(back) == []
    with back.database.reading() as db:
        assert list(db.scalars(select(TrailEntry.what))) == ["sign-in"]


def test_each_firm_sees_its_own(back, client):
    with back.database.session() as db:
        new_firm(db, name="Other Roofs", login="bea", now=back.clock.now())
    sign_in(client, "wrong", login="bea")
    with back.database.reading() as db:
        firm_id = db.scalar(select(Account.firm_id).where(Account.login == "bea"))
        found = db.execute(select(TrailEntry.firm_id, TrailEntry.who)).all()
    assert (firm_id, "bea") in [tuple(one) for one in found]
    sign_in(client)
    assert "bea" not in client.get("/trail").text


def test_the_owner_reads_them_on_the_trail_and_the_person_on_their_account(back, client):
    sign_in(client)
    assert "No attempt has failed" in client.get("/account").text
    back.clock.move(minutes=30)
    sign_in(client, "wrong")
    back.clock.move(minutes=2)
    sign_in(client, "wrong")
    back.clock.move(minutes=2)
    sign_in(client)
    page = client.get("/account").text
    assert "2 attempts failed in between or since; was that you?" in page
    assert "before that" in page
    assert "failed to sign in: wrong name or password, 2 times" in client.get("/trail").text
    back.clock.move(minutes=2)
    sign_in(client)  # what failed before the sign-in before this one is no news any more
    assert "No attempt has failed" in client.get("/account").text


def test_what_fails_after_a_sign_in_of_the_same_hour_is_news(back, client):
    back.clock.moment = back.clock.moment.replace(minute=0)
    sign_in(client, "wrong")
    for _ in range(2):
        back.clock.move(minutes=3)
        sign_in(client)
    back.clock.move(minutes=3)
    sign_in(client, "wrong")
    assert "1 attempt failed in between or since" in client.get("/account").text


def test_a_right_password_with_a_wrong_code_is_no_sign_in(back, client):
    with back.database.session() as db:
        account = db.scalar(select(Account))
        account.totp_secret, account.totp_confirmed = KEY, True
    sign_in(client)
    client.post("/sign-in/code", data={"code": "000000"})
    assert failures(back) == [("owner", "sign-in-code-failed", "from testclient", 1)]
    with back.database.reading() as db:
        assert db.scalar(select(TrailEntry.id).where(TrailEntry.what == "sign-in")) is None
    code = pyotp.TOTP(KEY).at(back.clock.now())
    assert client.post("/sign-in/code", data={"code": code}).headers["location"] == "/"
    with back.database.reading() as db:
        assert db.scalar(select(TrailEntry.who).where(TrailEntry.what == "sign-in")) == "owner"


def test_setting_a_password_by_link_counts_as_coming_in(tmp_path):
    with back_ends(tmp_path) as make:
        back = make(host="0.0.0.0")
        with back.database.session() as db:
            token = make_setup_link(db, now=back.clock.now())
        with TestClient(back.app(), base_url=PUBLIC, headers={"accept": "text/html"}) as client:
            client.post("/first-password", data={"token": token, "password": PASSWORD})
            assert "Last signed in 20 Jun" in client.get("/account").text


def test_the_age_of_a_sign_in_is_told_to_the_minute(back, client):
    sign_in(client)
    with back.database.reading() as db:
        used_at = db.scalar(select(WebSession.used_at))
    assert used_at - back.clock.now() == timedelta(0)
