"""Who may do what: loopback, password, sessions, foreign pages and hosts."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from argon2 import PasswordHasher, Type
from starlette.testclient import TestClient

from service.accounts.actions import make_setup_link, password_from_file
from service.accounts.passwords import LONGEST, fits, hash_password
from service.db.models import Account, WebSession
from service.errors import InvalidError
from tests.build_service import LOCAL, BackEnd, back_ends

PUBLIC = "http://sun.example"
PASSWORD = "correct horse"


@pytest.fixture
def back(tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path) as make:
        yield make(host="0.0.0.0")


@pytest.fixture
def client(back: BackEnd) -> Iterator[TestClient]:
    with TestClient(back.app(), base_url=PUBLIC, follow_redirects=False) as client:
        yield client


def link(back: BackEnd) -> str | None:
    with back.database.session() as db:
        return make_setup_link(db, now=back.clock.now())


def set_password(back: BackEnd, client: TestClient) -> None:
    answer = client.post("/first-password", data={"token": link(back), "password": PASSWORD})
    assert answer.headers["location"] == "/"


def test_a_browser_is_sent_to_sign_in(client: TestClient) -> None:
    answer = client.get("/", headers={"accept": "text/html"})
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/sign-in")


def test_the_first_password_is_set_by_a_link_that_works_once(
    back: BackEnd, client: TestClient
) -> None:
    old, token = link(back), link(back)
    for wrong in (old, "", "first_x"):
        answer = client.post("/first-password", data={"token": wrong, "password": PASSWORD})
        assert answer.headers["location"] == "/first-password?error=link"
    short = client.post("/first-password", data={"token": token, "password": "short"})
    assert "error=length" in short.headers["location"]
    answer = client.post("/first-password", data={"token": token, "password": PASSWORD})
    assert answer.headers["location"] == "/"
    assert client.get("/api/sites").status_code == 200
    again = client.post("/first-password", data={"token": token, "password": PASSWORD})
    assert again.headers["location"] == "/first-password?error=link"
    assert link(back) is None


def test_signing_in_and_out(back: BackEnd, client: TestClient) -> None:
    set_password(back, client)
    client.post("/sign-out")
    assert client.get("/api/sites").status_code == 401
    wrong = client.post("/sign-in", data={"password": "wrong horse", "next": "/sites/a"})
    assert wrong.headers["location"] == "/sign-in?error=wrong&next=/sites/a"
    right = client.post("/sign-in", data={"password": PASSWORD, "next": "/sites/a"})
    assert right.headers["location"] == "/sites/a"
    cookie = right.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=lax" in cookie
    assert client.get("/api/sites").status_code == 200


def test_a_sign_in_ends_after_its_days(back: BackEnd, client: TestClient) -> None:
    set_password(back, client)
    back.clock.move(days=31)
    assert client.get("/api/sites").status_code == 401


@pytest.mark.parametrize("target", ["//evil.example", "https://evil.example", "/\\evil", "x"])
def test_signing_in_leads_nowhere_else(back: BackEnd, client: TestClient, target: str) -> None:
    set_password(back, client)
    answer = client.post("/sign-in", data={"password": PASSWORD, "next": target})
    assert answer.headers["location"] == "/"


def test_guessing_is_slowed_down(back: BackEnd, client: TestClient) -> None:
    set_password(back, client)
    for _ in range(5):
        client.post("/sign-in", data={"password": "wrong horse"})
    waiting = client.post("/sign-in", data={"password": PASSWORD})
    assert "error=wait" in waiting.headers["location"]
    back.clock.move(seconds=61)
    assert client.post("/sign-in", data={"password": PASSWORD}).headers["location"] == "/"


def test_another_name_beyond_the_limit_shuts_nobody_out(back: BackEnd, client: TestClient) -> None:
    set_password(back, client)
    for _ in range(5):
        client.post("/sign-in", data={"password": "wrong horse"})
    for login in ("somebody", "somebody else"):
        waiting = client.post("/sign-in", data={"password": "wrong horse", "login": login})
        assert "error=wait" in waiting.headers["location"]
    back.clock.move(seconds=61)
    assert client.post("/sign-in", data={"password": PASSWORD}).headers["location"] == "/"


def test_secrets_are_kept_as_hashes(back: BackEnd, client: TestClient) -> None:
    set_password(back, client)
    with back.database.reading() as db:
        account = db.query(Account).one()
        assert account.password_hash.startswith("$argon2id$")
        assert db.query(WebSession).one().token_hash not in client.cookies.get("suntally_session")


def test_passwords_are_hashed_at_the_cost_of_the_standard(product_hasher: PasswordHasher) -> None:
    # RFC 9106, section 4, the second recommended option: three passes, 64 MiB, four lanes.
    cost = (product_hasher.time_cost, product_hasher.memory_cost, product_hasher.parallelism)
    assert product_hasher.type is Type.ID
    assert cost == (3, 64 * 1024, 4)


def test_a_password_file_sets_the_first_password_only(back: BackEnd, tmp_path: Path) -> None:
    path = tmp_path / "password"
    for text in ("first password\n", "second password\n"):
        path.write_text(text)
        with back.database.session() as db:
            password_from_file(db, path=path, now=back.clock.now())
    with back.database.reading() as db:
        (account,) = db.query(Account)
        assert fits("first password", account.password_hash)
    assert link(back) is None


def test_a_lost_password_is_set_anew_on_the_machine(
    back: BackEnd, client: TestClient, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from service.cli import main

    set_password(back, client)
    path = tmp_path / "password"
    command = ["password", "--data-dir", str(back.settings.data_dir), "--from-file", str(path)]
    assert main(command) == 2
    path.write_text("short\n")
    assert main(command) == 2
    assert "5 characters" in capsys.readouterr().err
    assert client.get("/api/sites").status_code == 200
    path.write_text("brand new horse\n")
    assert main(command) == 0
    assert client.get("/api/sites").status_code == 401
    client.post("/sign-in", data={"password": "brand new horse"})
    assert client.get("/api/sites").status_code == 200


def test_passwords_of_bad_length_and_unknown_names_fail() -> None:
    for bad in ("short", "x" * (LONGEST + 1)):
        with pytest.raises(InvalidError, match="characters"):
            hash_password(bad)
    for common in ("qwertyuiop", "QwertyUiop", "1234567890"):
        with pytest.raises(InvalidError, match="Many people use"):
            hash_password(common)
    assert not fits("anything at all", None)
    assert not fits("anything at all", "no hash")


def test_https_makes_the_cookie_secure(tmp_path: Path) -> None:
    with back_ends(tmp_path) as make:
        back = make(base_url="https://sun.example")
        assert back.settings.reachable
        with TestClient(back.app(), base_url="https://sun.example") as client:
            client.follow_redirects = False
            answer = client.post(
                "/first-password", data={"token": link(back), "password": PASSWORD}
            )
            set_cookie = answer.headers["set-cookie"]
            assert set_cookie.startswith("__Host-suntally_session=")
            assert "; Secure" in set_cookie
            assert "; Path=/;" in set_cookie
            assert "domain" not in set_cookie.lower()
            assert client.get("/api/sites").status_code == 200
            assert "__Host-suntally_session" in client.post("/sign-out").headers["set-cookie"]
            assert client.get("/api/sites").status_code == 401


def test_the_own_machine_needs_no_sign_in(tmp_path: Path) -> None:
    with back_ends(tmp_path) as make, TestClient(make().app(), base_url=LOCAL) as client:
        assert client.get("/api/sites").status_code == 200


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8321", ""])
def test_the_own_machine_answers_to_no_foreign_name(tmp_path: Path, host: str) -> None:
    with back_ends(tmp_path) as make, TestClient(make().app(), base_url=LOCAL) as client:
        answer = client.get("/api/sites", headers={"host": host})
        assert answer.status_code == 403


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"origin": "http://evil.example"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": "http://127.0.0.1.evil.example"}, 403),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"origin": "http://127.0.0.1"}, 422),
        ({"sec-fetch-site": "same-origin"}, 422),
        ({}, 422),
    ],
)
def test_pages_of_other_sites_change_nothing(
    tmp_path: Path, headers: dict[str, str], status: int
) -> None:
    with back_ends(tmp_path) as make, TestClient(make().app(), base_url=LOCAL) as client:
        answer = client.post("/api/sites", content="schema = 2", headers=headers)
        assert answer.status_code == status


def test_every_answer_carries_the_guarding_headers(client: TestClient) -> None:
    for answer in (client.get("/health"), client.get("/nowhere"), client.get("/api/sites")):
        assert "script-src 'self';" in answer.headers["content-security-policy"]
        assert answer.headers["x-content-type-options"] == "nosniff"


def test_errors_are_problem_details_for_programs_and_pages_for_people(
    client: TestClient,
) -> None:
    program = client.get("/nowhere")
    assert program.json()["status"] == 404
    person = client.get("/nowhere", headers={"accept": "text/html"})
    assert person.status_code == 404
    assert person.headers["content-type"].startswith("text/html")


def test_health_tells_whether_a_worker_is_alive(back: BackEnd, client: TestClient) -> None:
    assert client.get("/health").json()["worker"] == "starting"
    back.clock.move(minutes=2)
    silent = client.get("/health")
    assert (silent.status_code, silent.json()["worker"]) == (503, "silent")
    back.worker().beat()
    alive = client.get("/health")
    assert (alive.status_code, alive.json()["worker"]) == (200, "alive")
