"""Where somebody is signed in: listed on their account's page, and ended from there."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import select
from starlette.testclient import TestClient

from service.accounts import people, sign_ins
from service.accounts.actions import reset_password, set_password_by_link
from service.accounts.sessions import device_of
from service.db.models import Account, TrailEntry, WebSession
from tests.build_service import BackEnd, back_ends

PUBLIC = "http://sun.example"
PASSWORD = "correct horse"
PHONE = "Mozilla/5.0 (Invented 1; Mobile) Engine/1.0 Browser/1.0"
DESK = "Mozilla/5.0 (Invented; 64) Engine/1.0 Browser/1.0"


@pytest.fixture(params=["sqlite", "postgres"])
def back(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path, request.param) as make:
        back = make(host="0.0.0.0", session_idle_hours=12)
        with back.database.session() as db:
            reset_password(db, login="owner", password=PASSWORD, now=back.clock.now())
        yield back


@pytest.fixture
def desk(back: BackEnd) -> TestClient:
    return signed_in(back, DESK)


@pytest.fixture
def phone(back: BackEnd, desk: TestClient) -> TestClient:
    back.clock.move(hours=1)
    return signed_in(back, PHONE)


def signed_in(back: BackEnd, user_agent: str, *, login: str = "owner") -> TestClient:
    client = TestClient(
        back.app(),
        base_url=PUBLIC,
        headers={"accept": "text/html", "user-agent": user_agent},
        follow_redirects=False,
    )
    answer = client.post("/sign-in", data={"login": login, "password": PASSWORD})
    assert answer.headers["location"] == "/"
    return client


def is_in(client: TestClient) -> bool:
    return client.get("/account").status_code == 200


def listed(client: TestClient) -> list[str]:
    """Give the lines of the list, without marks."""
    section = client.get("/account").text.split('id="sessions"')[1].split("</ul>")[0]
    lines = re.findall(r'<li><div class="line">(.*?)</div>', section)
    return [" ".join(re.sub(r"<[^>]*>", " ", line).split()) for line in lines]


def ends(client: TestClient) -> list[str]:
    """Give the addresses that end one browser each, as the page has them."""
    return re.findall(r'action="(/account/sessions/\d+/end)"', client.get("/account").text)


def trail(back: BackEnd) -> list[str]:
    with back.database.reading() as db:
        whats = db.scalars(select(TrailEntry.what).order_by(TrailEntry.id))
        return [what for what in whats if what != "sign-in"]


def test_a_person_sees_where_they_are_signed_in(back, desk, phone):
    back.clock.move(hours=2)
    assert listed(desk) == [
        "A browser on a computer this one · signed in 20 June 2025, 12:00",
        "A browser on a phone or tablet signed in 20 June 2025, 13:00 "
        "· last used 20 June 2025, 13:00",
    ]
    # Having been seen counts as use; each is told which of them it is.
    assert [line.split(" signed")[0] for line in listed(phone)] == [
        "A browser on a phone or tablet this one ·",
        "A browser on a computer",
    ]
    assert "last used 20 June 2025, 15:00" in listed(phone)[1]


def test_one_is_ended_and_the_others_stay(back, desk, phone):
    third = signed_in(back, PHONE)
    (end, other) = ends(desk)
    assert end != other
    assert desk.post(end, data={"password": PASSWORD}).headers["location"].startswith("/account?")
    assert [is_in(one) for one in (desk, phone, third)] == [True, True, False]
    assert trail(back) == ["pages.account.end_session"]
    assert "signed one of the own browsers out" in desk.get("/trail").text
    assert desk.post(end, data={"password": PASSWORD}).status_code == 404  # it is out already


def test_all_others_are_ended_and_this_one_stays(back, desk, phone):
    third = signed_in(back, "some-program/1.0")
    answer = desk.post("/account/sessions/end-others", data={"password": PASSWORD})
    assert answer.headers["location"].startswith("/account?")
    assert [is_in(one) for one in (desk, phone, third)] == [True, False, False]
    assert trail(back) == ["pages.account.end_others"]
    assert "Sign all others out" not in desk.get("/account").text


def test_a_wrong_password_ends_nothing(back, desk, phone):
    for path in (ends(desk)[0], "/account/sessions/end-others"):
        answer = desk.post(path, data={"password": "a wrong one"})
        assert answer.status_code == 422
        assert answer.text.count("not the password that you sign in with") == 1
        # The form is open and has the focus: it is far down on the page.
        assert answer.text.count("<details open") + answer.text.count('near" open') == 1
        assert answer.text.count("autofocus") == 1
    assert is_in(phone)
    assert trail(back) == ["own-password-failed"]  # a line with its count
    assert "gave a wrong password, though signed in, 2 times" in desk.get("/trail").text


def test_a_signed_in_browser_tries_passwords_no_faster_than_a_stranger(back, desk, phone):
    doors = {
        "/account/password": "old",
        "/account/second-factor/off": "password",
        "/account/sessions/end-others": "password",
        ends(desk)[0]: "password",
    }
    for number in range(5):
        path, field = list(doors.items())[number % len(doors)]
        assert desk.post(path, data={field: f"a wrong one {number}"}).status_code == 422
    for path, field in doors.items():
        answer = desk.post(path, data={field: PASSWORD, "new": "another good one"})
        assert answer.status_code == 429
        assert "wait a minute" in answer.text
    assert is_in(phone)
    sign_ins.note_held(back.database, desk.app.state.held_tries)
    assert trail(back) == ["own-password-failed", "sign-in-held"]
    # That is between this browser and who holds it; signing in goes on.
    other = TestClient(desk.app, base_url=PUBLIC, follow_redirects=False)
    assert other.post("/sign-in", data={"password": PASSWORD}).headers["location"] == "/"
    back.clock.move(seconds=61)
    assert desk.post(ends(desk)[0], data={"password": PASSWORD}).status_code == 303


def test_a_browser_in_wrong_hands_is_ended_from_another_however_it_tries(desk, phone):
    for number in range(8):  # whoever stole the phone tries passwords on it
        phone.post("/account/password", data={"old": f"a wrong one {number}", "new": PASSWORD})
    answer = phone.post("/account/password", data={"old": PASSWORD, "new": "another good one"})
    assert answer.status_code == 429
    owner = TestClient(phone.app, base_url=PUBLIC, cookies=desk.cookies, follow_redirects=False)
    assert owner.post(ends(desk)[0], data={"password": PASSWORD}).status_code == 303
    assert [is_in(one) for one in (desk, phone)] == [True, False]


def test_nobody_sees_or_ends_what_is_somebody_elses(back, desk, phone):
    now = back.clock.now()
    with back.database.session() as db:
        _, token = people.invite(
            db, firm_id=back.firm_id, login="anna", name="", role="technician", now=now
        )
        set_password_by_link(db, token=token, password=PASSWORD, now=now)
    anna = signed_in(back, PHONE, login="anna")
    assert len(listed(anna)) == 1
    assert len(listed(desk)) == 2
    for end in ends(phone):
        assert anna.post(end, data={"password": PASSWORD}).status_code == 404
    anna.post("/account/sessions/end-others", data={"password": PASSWORD})
    assert [is_in(one) for one in (anna, desk, phone)] == [True, True, True]


def test_what_is_over_or_waits_for_its_code_is_not_listed(back, desk, phone):
    back.clock.move(hours=11.5)  # the first was last used 12.5 hours ago, and ends after twelve
    with back.database.session() as db:
        account = db.scalar(select(Account))
        waiting = WebSession(
            token_hash="x", account_id=account.id, code_due=True, used_at=back.clock.now(),
            created_at=back.clock.now(), expires_at=back.clock.now().replace(year=2026),
        )  # fmt: skip
        db.add(waiting)
    assert len(listed(phone)) == 1


def test_whoever_signs_in_again_leaves_no_second_sign_in_behind(back, desk):
    old = desk.cookies["suntally_session"]
    desk.post("/sign-in", data={"password": PASSWORD})
    assert len(listed(desk)) == 1
    assert desk.cookies["suntally_session"] != old
    desk.cookies.clear()
    assert desk.get("/account", headers={"cookie": f"suntally_session={old}"}).status_code == 303


def test_one_from_before_browsers_were_told_apart_is_listed(back, desk, phone):
    with back.database.session() as db:
        for one in db.scalars(select(WebSession).where(WebSession.device == "computer")):
            one.device = None
    assert listed(phone)[1].startswith("A browser, not known on what signed in")


def test_a_long_list_says_how_many_more_there_are(back, desk):
    with back.database.session() as db:
        account = db.scalar(select(Account))
        for number in range(35):
            db.add(
                WebSession(
                    token_hash=str(number), account_id=account.id, used_at=back.clock.now(),
                    created_at=back.clock.now(), expires_at=back.clock.now().replace(year=2026),
                )
            )  # fmt: skip
    assert len(listed(desk)) == 30
    assert "this one" in listed(desk)[0]
    assert "And 6 more" in desk.get("/account").text


@pytest.mark.parametrize(
    ("said", "device"),
    [
        (PHONE, "handheld"),
        (DESK, "computer"),
        ("Mozilla/5.0 (Invented; Tablet) Engine/1.0", "handheld"),
        ("some-program/1.0", "program"),
        ("", "program"),
    ],
)
def test_what_a_browser_runs_on_is_told_by_what_it_says(said: str, device: str) -> None:
    assert device_of(said) == device


def test_nothing_else_of_what_a_browser_says_is_kept(back):
    signed_in(back, "Mozilla/5.0 <script>alert(1)</script> " + "x" * 5000)
    with back.database.reading() as db:
        assert db.scalar(select(WebSession.device)) == "computer"
