"""Requests that no page sends: each gets a clear 4xx, on both databases, and changes nothing."""

import json
import sqlite3
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import func, select
from starlette.testclient import TestClient

from service.db.engine import Database
from service.db.models import Recipient, Upload
from service.ingest.files import RawStore
from service.settings import Settings
from tests.build_mail import add_reader, mails
from tests.build_service import LOCAL, BackEnd, back_ends, site_file, tidy_log

NUL = json.dumps("\0")
BIG = "99999999999999999999"


@pytest.fixture(params=["sqlite", "postgres"], scope="module")
def back(request: pytest.FixtureRequest, tmp_path_factory) -> Iterator[BackEnd]:
    with back_ends(tmp_path_factory.mktemp("odd"), request.param) as make:
        back = make()
        back.add_site()
        yield back


@pytest.fixture(scope="module")
def client(back: BackEnd) -> Iterator[TestClient]:
    with TestClient(back.app(), base_url=LOCAL, raise_server_exceptions=False) as client:
        yield client


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("GET", f"/api/sites/mill-lane-4/uploads/{BIG}"),
        ("DELETE", f"/api/sites/mill-lane-4/keys/{BIG}"),
        ("POST", f"/settings/recipients/{BIG}/remove"),
        ("POST", f"/settings/recipients/{BIG}/test"),
        ("POST", f"/sites/mill-lane-4/gateway/{BIG}/revoke"),
        ("GET", "/api/sites/%ED%A0%80/report"),
        ("GET", "/api/sites/mill-lane-4/series?from=0001-01-01&to=0001-01-03"),
        ("GET", "/api/sites/mill-lane-4/series?from=0001-01-01T00:00:00Z&to=9999-12-31T23:59:59Z"),
        ("GET", "/api/sites/..%2f..%2fetc%2fpasswd/report"),
        ("GET", "/static/..%2f..%2fservice%2fapp.py"),
    ],
)
def test_an_address_that_leads_nowhere_is_answered_plainly(
    client: TestClient, method: str, path: str
) -> None:
    assert client.request(method, path).status_code in (404, 422)


def test_a_nul_is_refused_or_left_out_everywhere(client: TestClient) -> None:
    site = site_file("ZZ").replace('"ZZ"', NUL).encode()
    answers = [
        client.get("/api/sites/%00/report"),
        client.post("/api/sites", content=site),
        client.post(
            "/api/sites/mill-lane-4/keys",
            content=b'{"label": %s}' % NUL.encode(),
            headers={"content-type": "application/json"},
        ),
        client.post(
            "/settings/recipients",
            data={"address": "a@b", "name": "\0", "timezone": "UTC"},
        ),
        client.post("/sign-in", data={"login": "\0", "password": "x"}, follow_redirects=False),
    ]
    assert [answer.status_code for answer in answers if answer.status_code >= 500] == []


@pytest.mark.parametrize("host", ["[", "[::1", "evil.example", "127.0.0.1.evil.example", ""])
def test_a_host_that_is_not_this_machine_is_refused(client: TestClient, host: str) -> None:
    assert client.get("/health", headers={"host": host}).status_code == 403


@pytest.mark.parametrize(
    "origin",
    ["http://[", "null", "", "file://", "http://evil.example", "http://127.0.0.1@e.example"],
)
def test_an_origin_that_is_not_this_service_changes_nothing(
    client: TestClient, origin: str
) -> None:
    answer = client.post("/sign-out", headers={"origin": origin}, follow_redirects=False)
    assert answer.status_code == 403


def test_names_that_unicode_cannot_write_are_quoted_back_in_ascii(
    back: BackEnd, client: TestClient
) -> None:
    key = back.add_key("mill-lane-4")
    answer = client.post(
        "/api/sites/mill-lane-4/rows",
        content=b'{"rows": [{"time": "2025-06-01T12:00:00Z", "\\ud800": 1}]}',
        headers={"authorization": f"Bearer {key}"},
    )
    assert answer.status_code == 422
    assert answer.json()["field"] == "\ud800"


def test_a_batch_of_many_unknown_names_is_refused_at_the_first(
    back: BackEnd, client: TestClient
) -> None:
    key = back.add_key("mill-lane-4")
    # Room for every name in every row would be 100000 x 20000 values.
    rows = [{}] * 99_999 + [{f"x{number}": 1 for number in range(20_000)}]
    answer = client.post(
        "/api/sites/mill-lane-4/rows",
        content=json.dumps({"rows": rows}).encode(),
        headers={"authorization": f"Bearer {key}"},
    )
    assert answer.status_code == 422
    assert answer.json()["field"] == "x0"


def test_a_site_name_of_several_lines_becomes_one(client: TestClient) -> None:
    text = site_file("ZZ").replace('"ZZ"', json.dumps("Mill\r\nBcc: x@example.org\tLane"))
    answer = client.post("/api/sites", content=text.encode())
    assert answer.status_code == 201
    assert answer.json()["name"] == "Mill Bcc: x@example.org Lane"


def test_who_is_removed_gets_nothing_that_still_waits(back: BackEnd, client: TestClient) -> None:
    gone, stays = add_reader(back, "gone@example.org"), add_reader(back, "stays@example.org")
    for number in (gone, stays):
        client.post(f"/settings/recipients/{number}/test", follow_redirects=False)
    client.post(f"/settings/recipients/{gone}/remove", follow_redirects=False)
    assert [mail.recipient for mail in mails(back)] == ["stays@example.org"]
    with back.database.reading() as db:
        assert db.get(Recipient, gone) is None


@pytest.mark.parametrize(
    "address", ["a@[b", "a@b\nBcc: c@d", "a b@c", "a@b@c", "<a@b>", "a@-b", "ä@b", "(@b)", "a@b:c"]
)
def test_what_is_no_mail_address_is_not_taken(client: TestClient, address: str) -> None:
    answer = client.post("/settings/recipients", data={"address": address, "timezone": "UTC"})
    assert answer.status_code == 422
    assert "looks like name@example.org" in answer.text


def test_a_full_disk_is_said_and_nothing_is_noted(
    back: BackEnd, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(self: RawStore, chunks: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(RawStore, "keep", full)
    answer = client.post("/api/sites/mill-lane-4/logs", content=b"time,t_collector_c\n")
    assert answer.status_code == 507
    assert "disk that holds the data is full" in answer.json()["detail"]
    with back.database.reading() as db:
        assert db.scalar(select(func.count(Upload.id))) == 0


def test_a_locked_database_is_said_and_the_next_try_works(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from service.db import engine

    monkeypatch.setattr(engine, "_BUSY_MS", 50)
    with back_ends(tmp_path) as make:
        back = make()
        holder = sqlite3.connect(back.settings.data_dir / "suntally.db", isolation_level=None)
        client = TestClient(back.app(), base_url=LOCAL, raise_server_exceptions=False)
        with client:
            holder.execute("BEGIN IMMEDIATE")
            answer = client.post("/api/sites", content=site_file().encode())
            assert answer.status_code == 503
            assert "send it again in a minute" in answer.json()["detail"]
            assert client.get("/api/sites").json() == []
            holder.execute("ROLLBACK")
            assert client.post("/api/sites", content=site_file().encode()).status_code == 201
        holder.close()


def test_a_crowd_of_wrong_passwords_is_stopped_at_five(tmp_path: Path) -> None:
    with back_ends(tmp_path) as make:
        back = make(host="0.0.0.0")
        with back.database.session() as db:
            from service.accounts.actions import reset_password

            reset_password(db, login="owner", password="a good password", now=back.clock.now())
        places: list[str] = []
        with TestClient(back.app(), base_url="http://suntally.example") as client:

            def guess(number: int) -> None:
                answer = client.post(
                    "/sign-in", data={"password": f"guess {number}"}, follow_redirects=False
                )
                places.append(answer.headers["location"])

            threads = [threading.Thread(target=guess, args=(number,)) for number in range(12)]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join()
        assert sum("error=wrong" in place for place in places) == 5
        assert sum("error=wait" in place for place in places) == 7


def test_signing_in_waits_for_no_writer_until_the_password_is_known_to_be_right(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    # That it failed is put on record, but only once it is answered, and is given up with a line in
    # the log where the database does not take it: the answer is the same, and comes at once.
    from service.accounts import sign_ins
    from service.db import engine

    answered: list[str] = []
    real = sign_ins.note_failure

    def noted(*given: object, **named: object) -> None:
        answered.append("noting")
        real(*given, **named)

    monkeypatch.setattr(engine, "_BUSY_MS", 50)
    monkeypatch.setattr(sign_ins, "note_failure", noted)
    with back_ends(tmp_path) as make:
        back = make(host="0.0.0.0")
        with back.database.session() as db:
            from service.accounts.actions import reset_password

            reset_password(db, login="owner", password="a good password", now=back.clock.now())
        app = back.app()

        async def told(scope, receive, send):
            async def sending(message):
                if message["type"] == "http.response.body":
                    answered.append("answered")
                await send(message)

            await app(scope, receive, sending)

        with (
            TestClient(told, base_url="http://suntally.example") as client,
            Database(Settings(data_dir=back.settings.data_dir).url).session() as other,
        ):
            other.connection()  # somebody else holds the write lock all the while
            answer = client.post("/sign-in", data={"password": "no"}, follow_redirects=False)
            assert answer.headers["location"].startswith("/sign-in?error=wrong")
    assert answered == ["answered", "noting"]
    assert "a failed sign-in could not be noted" in caplog.text


def test_a_span_of_too_many_rows_is_refused_before_it_is_loaded(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from service.ingest import endpoints

    monkeypatch.setattr(endpoints, "_MOST_PLOTTED", 200)
    with back_ends(tmp_path) as make:
        back = make()
        slug = back.add_site()
        back.hand_in(slug, tidy_log(hours=48))
        back.worker().work_once()
        with TestClient(back.app(), base_url=LOCAL) as client:
            path = f"/api/sites/{slug}/series"
            whole = client.get(path, params={"from": "2025-06-01", "to": "2025-06-03"})
            assert whole.status_code == 422
            assert "shorter span" in whole.json()["detail"]
            part = client.get(
                path, params={"from": "2025-06-01T01:00:00Z", "to": "2025-06-01T22:00:00Z"}
            )
            assert len(part.json()["start_s"]) == 126


def test_an_error_of_our_own_says_no_more_than_it_must_and_bears_all_headers(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    from service.assessments import queries

    def broken(*_args: object, **_more: object) -> None:
        raise ZeroDivisionError("secret detail")

    monkeypatch.setattr(queries, "sites_pending", broken)
    answer = client.get("/api/sites")
    assert answer.status_code == 500
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text
    assert answer.headers["content-security-policy"].startswith("default-src 'none'")
    assert answer.headers["x-content-type-options"] == "nosniff"
