"""Accounts, second factor, keys, customers' links and the trail, as somebody at a browser."""

from collections.abc import Iterator
from pathlib import Path

import pyotp
import pytest
from httpx2 import Response
from starlette.testclient import TestClient

from service.accounts import queries, second_factor
from service.accounts.actions import make_setup_link
from service.accounts.attempts import whose
from service.accounts.signing import content_of, signed
from service.cli import main
from service.db.models import Account, CustomerLink, FirmKey
from tests.build_service import LOCAL, BackEnd, back_ends

PUBLIC = "http://sun.example"
PASSWORD = "correct horse"


@pytest.fixture
def back(tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path) as make:
        yield make(host="0.0.0.0")


@pytest.fixture
def client(back: BackEnd) -> Iterator[TestClient]:
    with browser(back) as client, back.database.session() as db:
        token = make_setup_link(db, now=back.clock.now())
        db.commit()
        client.post("/first-password", data={"token": token, "password": PASSWORD})
        yield client


def browser(back: BackEnd, base: str = PUBLIC) -> TestClient:
    return TestClient(back.app(), base_url=base, follow_redirects=False)


def secret_on(text: str) -> str:
    return text.split("data-secret>")[1].split("<")[0]


def joined(back: BackEnd, client: TestClient, login: str, role: str) -> TestClient:
    """Ask somebody in; gives their signed-in browser."""
    link = secret_on(client.post("/people", data={"login": login, "role": role}).text)
    other = browser(back)
    answer = other.post(
        "/first-password", data={"token": link.split("token=")[1], "password": PASSWORD}
    )
    assert answer.headers["location"] == "/"
    return other


def test_somebody_is_asked_in_and_shut_out(back: BackEnd, client: TestClient) -> None:
    anna = joined(back, client, "anna@roofs.example", "technician")
    assert anna.get("/api/sites").status_code == 200
    assert anna.get("/people").status_code == 403
    twice = client.post("/people", data={"login": "anna@roofs.example", "role": "office"})
    assert twice.status_code == 422
    assert "is taken" in twice.text
    client.post("/people/2/role", data={"role": "owner"})
    assert anna.get("/people").status_code == 200
    assert client.post("/people/2/close").headers["location"] == "/people"
    assert anna.get("/api/sites").status_code == 401
    login = {"login": "anna@roofs.example", "password": PASSWORD}
    assert "error=wrong" in anna.post("/sign-in", data=login).headers["location"]


def test_a_firm_keeps_an_owner(client: TestClient) -> None:
    for path, data in (("/people/1/role", {"role": "office"}), ("/people/1/close", {})):
        answer = client.post(path, data=data)
        assert answer.status_code == 422
        assert "needs an owner" in answer.text
    # One who was asked in but has no password yet cannot stand in.
    client.post("/people", data={"login": "b", "role": "owner"})
    assert client.post("/people/1/role", data={"role": "office"}).status_code == 422


def test_a_password_link_works_once_and_ends(back: BackEnd, client: TestClient) -> None:
    link = secret_on(client.post("/people", data={"login": "anna", "role": "office"}).text)
    back.clock.move(days=8)
    data = {"token": link.split("token=")[1], "password": PASSWORD}
    with browser(back) as other:
        assert "error=link" in other.post("/first-password", data=data).headers["location"]


def test_changing_the_password_signs_every_browser_out(client: TestClient) -> None:
    wrong = client.post("/account/password", data={"old": "no", "new": "a new horse!"})
    assert wrong.status_code == 422
    assert client.get("/api/sites").status_code == 200
    client.post("/account/password", data={"old": PASSWORD, "new": "a new horse!"})
    assert client.get("/api/sites").status_code == 401


# RFC 6238, appendix B: the key "12345678901234567890", SHA-1, eight digits; an app shows the last
# six of them.
RFC_6238 = ((59, "94287082"), (1111111109, "07081804"), (1234567890, "89005924"))
RFC_KEY = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"


@pytest.mark.parametrize(("moment_s", "code"), RFC_6238)
def test_codes_are_those_of_the_standard(moment_s: int, code: str) -> None:
    from datetime import UTC, datetime

    account = Account(
        login="a", totp_secret=RFC_KEY, totp_confirmed=True, totp_step=0, recovery_hashes=[]
    )
    now = datetime.fromtimestamp(moment_s, UTC)
    assert not second_factor.accepts(account, code=str((int(code[-6:]) + 1) % 10**6), now=now)
    assert second_factor.accepts(account, code=code[-6:], now=now)
    assert not second_factor.accepts(account, code=code[-6:], now=now)  # it is used up


def turn_on(client: TestClient, code: str, *, password: str = PASSWORD) -> Response:
    given = {"code": code, "password": password}
    return client.post("/account/second-factor/confirm", data=given)


def test_the_second_factor_is_asked_for(back: BackEnd, client: TestClient) -> None:
    client.post("/account/second-factor")
    shown = client.get("/account").text
    assert "<svg" in shown
    with back.database.reading() as db:
        key = db.query(Account).one().totp_secret
    totp = pyotp.TOTP(key)
    assert turn_on(client, "x").status_code == 422
    # A browser that somebody left open is not enough to shut its owner out.
    assert turn_on(client, totp.at(back.clock.now()), password="a wrong one").status_code == 422
    with back.database.reading() as db:
        assert not db.query(Account).one().totp_confirmed
    on = turn_on(client, totp.at(back.clock.now()))
    spare = on.text.split('class="secret">')[1].split("<")[0].split(" · ")
    assert len(set(spare)) == 8
    client.post("/sign-out")
    answer = client.post("/sign-in", data={"password": PASSWORD, "next": "/settings"})
    assert answer.headers["location"] == "/sign-in/code?next=/settings"
    assert client.get("/api/sites").status_code == 401
    back.clock.move(seconds=30)
    code = totp.at(back.clock.now())
    wrong = client.post("/sign-in/code", data={"code": "000000", "next": "/settings"})
    assert "error=wrong" in wrong.headers["location"]
    right = client.post("/sign-in/code", data={"code": code, "next": "/settings"})
    assert right.headers["location"] == "/settings"
    assert client.get("/api/sites").status_code == 200
    # A code for a lost phone works once.
    for expected in ("/", "/sign-in/code?next=/&error=wrong"):
        client.post("/sign-out")
        client.post("/sign-in", data={"password": PASSWORD})
        answer = client.post("/sign-in/code", data={"code": spare[0]})
        assert answer.headers["location"] == expected


def signed_out_with_a_second_factor(back: BackEnd, client: TestClient) -> pyotp.TOTP:
    client.post("/account/second-factor")
    with back.database.reading() as db:
        totp = pyotp.TOTP(db.query(Account).one().totp_secret)
    turn_on(client, totp.at(back.clock.now()))
    client.post("/sign-out")
    return totp


def test_codes_cannot_be_tried_on_and_on(back: BackEnd, client: TestClient) -> None:
    totp = signed_out_with_a_second_factor(back, client)
    client.post("/sign-in", data={"password": PASSWORD})
    for _ in range(5):
        client.post("/sign-in/code", data={"code": "000000"})
    back.clock.move(seconds=60)
    answer = client.post("/sign-in/code", data={"code": totp.at(back.clock.now())})
    assert "error=again" in answer.headers["location"]


def test_whoever_has_the_password_alone_tries_few_codes(back: BackEnd, client: TestClient) -> None:
    totp = signed_out_with_a_second_factor(back, client)
    heard = 0
    for _ in range(20):  # the password anew for every few codes, all within a minute
        client.post("/sign-in", data={"password": PASSWORD})
        for _ in range(5):
            answer = client.post("/sign-in/code", data={"code": "000000"})
            heard += "error=wrong" in answer.headers["location"]
    assert heard <= 25
    answer = client.post("/sign-in", data={"password": PASSWORD})
    assert "error=wait" in answer.headers["location"]
    # Who is in with both is waited for no longer.
    for _ in range(7):
        back.clock.move(seconds=61)
        client.post("/sign-in", data={"password": PASSWORD})
        code = totp.at(back.clock.now())
        assert client.post("/sign-in/code", data={"code": code}).headers["location"] == "/"
    for _ in range(4):
        client.post("/sign-in", data={"password": PASSWORD})
    back.clock.move(seconds=31)
    client.post("/sign-in/code", data={"code": totp.at(back.clock.now())})
    for _ in range(4):
        answer = client.post("/sign-in", data={"password": PASSWORD})
        assert "error=wait" not in answer.headers["location"]


def test_one_account_is_not_guessed_from_many_addresses(back: BackEnd, client: TestClient) -> None:
    for number in range(5):
        other = TestClient(
            back.app() if number == 0 else client.app,
            base_url=PUBLIC,
            follow_redirects=False,
            client=(f"10.0.0.{number}", 1),
        )
        TestClient.post(other if number else client, "/sign-in", data={"password": "wrong"})
    late = TestClient(client.app, base_url=PUBLIC, follow_redirects=False, client=("10.0.9.9", 1))
    answer = late.post("/sign-in", data={"password": PASSWORD})
    assert "error=wait" in answer.headers["location"]


def test_all_addresses_of_one_network_count_as_one(back: BackEnd) -> None:
    app = back.app()
    told = []
    for number in range(6):
        other = TestClient(
            app, base_url=PUBLIC, follow_redirects=False, client=(f"2001:db8:1:2::{number}", 1)
        )
        answer = other.post("/sign-in", data={"login": f"a{number}", "password": "wrong"})
        told.append(answer.headers["location"].split("error=")[1].split("&")[0])
    assert told == ["wrong"] * 5 + ["wait"]


@pytest.mark.parametrize(
    ("address", "of"),
    [
        ("203.0.113.7", "203.0.113.7"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("2001:db8:1:2::9%eth0", "2001:db8:1:2::/64"),
        ("::ffff:203.0.113.7", "203.0.113.7"),
        ("testclient", "testclient"),
        ("", ""),
    ],
)
def test_whose_an_address_is(address: str, of: str) -> None:
    assert whose(address) == of


def test_a_key_of_the_firm_has_its_role_until_it_is_revoked(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    secret = secret_on(client.post("/people/keys", data={"label": "books"}).text)
    headers = {"authorization": f"Bearer {secret}"}
    with browser(back) as program:
        assert program.get("/api/sites", headers=headers).json()[0]["slug"] == slug
        assert program.delete(f"/api/sites/{slug}", headers=headers).status_code == 403
        with back.database.reading() as db:
            assert secret not in db.query(FirmKey).one().key_hash
        client.post("/people/keys/1/revoke")
        assert program.get("/api/sites", headers=headers).status_code == 401


def test_a_customer_sees_one_sheet_until_the_link_is_withdrawn(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    made = client.post(f"/sites/{slug}/customer", data={"label": "The Millers", "days": "30"})
    path = secret_on(made.text).removeprefix(PUBLIC)
    with browser(back) as customer:
        assert "Mill Lane 4" in customer.get(path).text
        for wrong in (path[:-1], path + "x", "/shared/x", "/shared/" + path[-8:]):
            assert customer.get(wrong).status_code == 404
        for closed in ("/", f"/sites/{slug}", f"/api/sites/{slug}/report"):
            assert customer.get(closed).status_code in (303, 401)
        client.post(f"/sites/{slug}/customer/1/withdraw")
        assert customer.get(path).status_code == 404


def test_a_customers_link_ends_by_itself(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    assert client.post(f"/sites/{slug}/customer", data={"days": "0"}).status_code == 422
    made = client.post(f"/sites/{slug}/customer", data={"days": "30"})
    path = secret_on(made.text).removeprefix(PUBLIC)
    back.clock.move(days=31)
    assert client.get(path).status_code == 404
    with back.database.reading() as db:
        assert db.query(CustomerLink).one().opened_at is None


def test_a_signature_is_for_one_purpose(back: BackEnd) -> None:
    with back.database.session() as db:
        text = signed(db, [7, "x"], purpose="customer")
        assert content_of(db, text, purpose="customer") == [7, "x"]
        assert content_of(db, text, purpose="mail") is None


def test_another_firm_sees_nothing(
    back: BackEnd, client: TestClient, capsys: pytest.CaptureFixture[str]
) -> None:
    slug = back.add_site()
    folder = str(back.settings.data_dir)
    assert main(["firm", "Other Roofs", "--login", "bea", "--data-dir", folder]) == 0
    token = capsys.readouterr().out.split("token=")[1].split()[0]
    with browser(back) as bea:
        bea.post("/first-password", data={"token": token, "password": PASSWORD})
        assert bea.get("/api/sites").json() == []
        assert bea.get(f"/sites/{slug}").status_code == 404
        assert bea.get(f"/api/sites/{slug}/report").status_code == 404
    assert main(["firm", "Third", "--login", "bea", "--data-dir", folder]) == 2
    assert "is taken" in capsys.readouterr().err


def test_the_trail_says_who_did_what(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    client.post(f"/sites/{slug}/customer", data={"label": "x", "days": "30"})
    assert client.post(f"/sites/{slug}/customer", data={"days": "0"}).status_code == 422
    with back.database.reading() as db:
        lines = queries.trail_of(db, firm_id=back.firm_id, before_id=None, limit=10)
    said = [(line.who, line.what, line.subject) for line in lines]
    # What was refused has not been done.
    assert said == [("owner", "pages.customers.make", slug), ("owner", "password", None)]
    assert "made a customer&#39;s link" in client.get("/trail").text


def test_the_own_machine_can_begin_to_ask_for_passwords(tmp_path: Path) -> None:
    with back_ends(tmp_path) as make:
        back = make()
        with browser(back, LOCAL) as here:
            assert here.get("/api/sites").status_code == 200
            link = here.post("/settings/first-password").headers["location"]
            here.post(
                "/first-password", data={"token": link.split("token=")[1], "password": PASSWORD}
            )
            assert here.get("/api/sites").status_code == 200
            here.post("/sign-out")
            assert here.get("/api/sites").status_code == 401
