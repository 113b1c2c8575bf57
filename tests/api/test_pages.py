"""The pages over HTTP: who may see them, what forms do, what a person is told."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from dashboards.site_form import GROUPS
from tests.build_service import LOCAL, BackEnd, back_ends, site_file, tidy_log

HTML = {"accept": "text/html"}


@pytest.fixture
def back(tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path) as make:
        yield make()


@pytest.fixture
def client(back: BackEnd) -> Iterator[TestClient]:
    with TestClient(back.app(), base_url=LOCAL, headers=HTML) as client:
        yield client


@pytest.fixture
def public(tmp_path: Path) -> Iterator[TestClient]:
    with back_ends(tmp_path) as make:
        back = make(base_url="https://heat.example.org")
        app = back.app()
        with TestClient(app, base_url="https://heat.example.org", headers=HTML) as client:
            yield client


PAGES = ("/", "/sites/new", "/sites/mill-lane-4", "/sites/mill-lane-4/facts",
         "/sites/mill-lane-4/gateway", "/settings", "/digest/2025-W25")  # fmt: skip


def test_nobody_sees_a_page_of_a_public_server_without_signing_in(public: TestClient) -> None:
    for path in PAGES:
        answer = public.get(path, follow_redirects=False)
        assert answer.status_code == 303, path
        assert answer.headers["location"].startswith("/sign-in")
    answer = public.post("/sites/new", data={"text": site_file()})
    assert answer.status_code == 401


def test_sign_in_says_what_was_wrong_and_keeps_the_way_back(public: TestClient) -> None:
    asked = public.get("/sign-in?next=/sites/mill-lane-4")
    assert 'value="/sites/mill-lane-4"' in asked.text
    again = public.post("/sign-in", data={"password": "no", "next": "/settings"})
    assert again.status_code == 401
    assert "Name or password is wrong" in again.text
    assert 'value="/settings"' in again.text


def test_a_first_password_link_that_does_not_work_says_so(public: TestClient) -> None:
    assert "does not work" in public.get("/first-password?token=made-up").text


def test_every_page_of_a_fresh_site_answers(back: BackEnd, client: TestClient) -> None:
    back.add_site()
    for path in PAGES:
        answer = client.get(path)
        assert answer.status_code == 200, path
        assert answer.headers["cache-control"] == "no-store"
        assert "script-src 'self'" in answer.headers["content-security-policy"]


def test_what_is_not_there_is_told_in_a_page(back: BackEnd, client: TestClient) -> None:
    back.add_site()
    for path in ("/sites/other", "/nothing", "/digest/2025-W99", "/sites/mill-lane-4/report.html",
                 "/sites/mill-lane-4/findings/frost_risk-20250101T0000"):  # fmt: skip
        answer = client.get(path)
        assert answer.status_code == 404, path
        assert "<h1>" in answer.text


def test_a_site_file_with_a_fault_is_refused_with_its_line_and_kept_in_the_field(
    back: BackEnd, client: TestClient
) -> None:
    wrong = site_file().replace("latitude = 48.0", "latitude = 148.0")
    answer = client.post("/sites/new", data={"text": wrong})
    assert answer.status_code == 422
    assert re.search(r"[Ll]ine 5: .*latitude", answer.text)
    assert "148.0" in answer.text
    assert client.get("/api/sites").json() == []


def test_facts_are_replaced_and_the_old_file_stays_to_read(
    back: BackEnd, client: TestClient
) -> None:
    back.add_site()
    new = site_file().replace("tilt_deg = 45", "tilt_deg = 40").replace("\n", "\r\n")
    answer = client.post("/sites/mill-lane-4/facts", data={"text": new})
    assert "The new facts are kept" in answer.text
    facts = client.get("/sites/mill-lane-4/facts").text
    assert "tilt_deg = 40" in facts
    assert "tilt_deg = 45" in facts


def test_a_key_is_shown_once(back: BackEnd, client: TestClient) -> None:
    back.add_site()
    made = client.post("/sites/mill-lane-4/gateway", data={"label": "cellar"})
    found = re.search(r"data-secret>([^<\s]+)<", made.text)
    assert found is not None
    rows = {"rows": [{"time": "2025-06-20T11:00:00Z", "t_collector_c": 61.2}]}
    headers = {"authorization": f"Bearer {found[1]}", "accept": "application/json"}
    pushed = client.post("/api/sites/mill-lane-4/rows", json=rows, headers=headers)
    assert pushed.status_code == 200
    later = client.get("/sites/mill-lane-4/gateway").text
    assert "cellar" in later
    assert found[1] not in later


def test_a_key_can_be_made_useless(back: BackEnd, client: TestClient) -> None:
    back.add_site()
    key = back.add_key("mill-lane-4")
    page = client.get("/sites/mill-lane-4/gateway").text
    path = re.search(r'action="([^"]+/revoke)"', page)
    assert path is not None
    client.post(path[1])
    headers = {"authorization": f"Bearer {key}", "accept": "application/json"}
    assert client.post("/api/sites/mill-lane-4/rows", json={}, headers=headers).status_code == 401


def test_a_form_with_several_wrong_fields_marks_them_all(client: TestClient) -> None:
    values = {item.name: item.default for group in GROUPS for item in group.fields}
    values |= {
        "site.name": "Mill", "site.latitude": "52,4", "site.longitude": "-1.5",
        "site.timezone": "London", "array.1.area_m2": "abc", "design.monthly_kwh": "1, 2",
    }  # fmt: skip
    answer = client.post("/sites/new", data=values)
    assert answer.status_code == 422
    for name, said in (
        ("site.timezone", "Allowed: an IANA time zone name"),
        ("array.1.area_m2", "Allowed: a number"),
        ("design.monthly_kwh", "Allowed: "),
    ):
        marked = re.search(rf'id="{re.escape(name)}-wrong">([^<]*)<', answer.text)
        assert marked is not None, name
        assert marked[1].startswith(said)
        assert f'href="#{name}"' in answer.text
    assert answer.text.count('aria-invalid="true"') == 3
    assert 'value="52,4"' in answer.text


def test_what_is_too_large_is_told_on_a_page_to_who_sits_at_a_browser(client: TestClient) -> None:
    answer = client.post(
        "/sites/new", data={"text": "x" * 1_100_000}, headers={"accept": "text/html"}
    )
    assert answer.status_code == 413
    assert "<h1>Too large</h1>" in answer.text
    assert "content-security-policy" in answer.headers


def test_pages_travel_packed_and_the_chart_program_is_not_packed_twice(
    client: TestClient,
) -> None:
    for path in ("/sites/new", "/static/plotly.min.js"):
        answer = client.get(path, headers={"accept-encoding": "gzip"})
        assert answer.headers["content-encoding"] == "gzip"
        assert answer.headers["vary"] == "Accept-Encoding"
        assert "content-security-policy" in answer.headers
        assert answer.text == client.get(path, headers={"accept-encoding": "identity"}).text


def test_deleting_asks_for_the_name_and_can_be_undone(back: BackEnd, client: TestClient) -> None:
    back.add_site()
    refused = client.post("/sites/mill-lane-4/delete", data={"confirm": "yes"})
    assert refused.status_code == 422
    assert "Nothing was deleted" in refused.text
    client.post("/sites/mill-lane-4/delete", data={"confirm": "Mill Lane 4"})
    assert client.get("/sites/mill-lane-4").status_code == 404
    assert "Mill Lane 4" in client.get("/settings").text
    back_again = client.post("/sites/mill-lane-4/restore")
    assert "It is back" in back_again.text


def test_recipients_are_added_checked_and_removed(client: TestClient) -> None:
    good = {"address": "office@example.org", "name": "Office", "timezone": "Europe/Berlin",
            "quiet_from": "21:00", "quiet_until": "07:00"}  # fmt: skip
    added = client.post("/settings/recipients", data=good)
    assert "office@example.org" in added.text
    assert "gets mail already" in client.post("/settings/recipients", data=good).text
    for field, value, said in (
        ("address", "nobody", "not a mail address"),
        ("timezone", "Mars/Base", "not known"),
        ("timezone", "../../etc/passwd", "not known"),
        ("quiet_from", "25:00", "like 21:00"),
    ):
        answer = client.post(
            "/settings/recipients", data=good | {"address": "b@example.org"} | {field: value}
        )
        assert answer.status_code == 422
        assert said in answer.text
    page = client.get("/settings").text
    assert page.count('/test"') == 1
    path = re.search(r'action="([^"]+/remove)"', page)
    assert path is not None
    assert "Nobody yet" in client.post(path[1]).text


def test_a_form_from_another_origin_changes_nothing(back: BackEnd, client: TestClient) -> None:
    answer = client.post(
        "/sites/new", data={"text": site_file()}, headers={"origin": "https://evil.example"}
    )
    assert answer.status_code == 403
    assert client.get("/api/sites").json() == []


def test_the_chart_program_comes_from_here_and_packed(client: TestClient) -> None:
    answer = client.get("/static/plotly.min.js")
    assert answer.status_code == 200
    assert answer.headers["content-encoding"] == "gzip"
    assert "plotly.js" in answer.text[:400]


def test_logs_handed_in_by_the_plain_form_show_what_was_understood(
    back: BackEnd, client: TestClient
) -> None:
    back.add_site()
    files = [
        ("file", ("a.csv", tidy_log(hours=48).encode())),
        ("file", ("<b>.csv", b"\x00\x01")),
    ]
    sent = client.post("/sites/mill-lane-4/logs", files=files)
    assert "safely kept" in sent.text
    assert "Being read" in client.get("/").text
    back.worker().work_all()
    page = client.get("/sites/mill-lane-4").text
    assert "Read: 288 rows, 288 new" in page
    assert "Refused: " in page
    assert "<b>" not in page
    day = client.get("/sites/mill-lane-4/day/2025-06-01").json()
    assert day["says"].startswith("Sun 1 June 2025: delivered")
    assert {trace["name"] for trace in day["figure"]["data"]} >= {"collector", "loop flow"}
    assert client.get("/sites/mill-lane-4/day/junk").status_code == 404
    assert "Mill Lane 4" in client.get("/sites/mill-lane-4/report.html").text


def test_days_far_away_are_answered_with_the_nearest_there_is(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    back.hand_in(slug, tidy_log(hours=48))
    back.worker().work_all()
    for asked in ("0001-01-01", "9999-12-31"):
        assert client.get(f"/sites/mill-lane-4?day={asked}&until={asked}").status_code == 200
        assert client.get(f"/sites/mill-lane-4/day/{asked}").status_code == 200
