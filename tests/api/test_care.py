"""Findings and what people do about them, through the API, the pages and the next logs."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from tests.build_service import LOCAL, BackEnd, back_ends, tidy_log


def open_sensor_log(first: datetime, *, broken_until: datetime | None, hours: int) -> str:
    """Give an invented log whose collector sensor reads nothing real until a moment."""
    lines = tidy_log(first=first, hours=hours).splitlines()
    head = lines[0].split(",")
    place = head.index("t_collector_c")
    out = [lines[0]]
    for line in lines[1:]:
        cells = line.split(",")
        moment = datetime.fromisoformat(cells[0])
        if broken_until is None or moment <= broken_until:
            cells[place] = "999.9"
        out.append(",".join(cells))
    return "\n".join(out) + "\n"


FIRST = datetime(2025, 6, 1, tzinfo=UTC)


@pytest.fixture
def back(tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path) as make:
        yield make()


@pytest.fixture
def client(back: BackEnd) -> Iterator[TestClient]:
    with TestClient(back.app(), base_url=LOCAL, follow_redirects=False) as client:
        yield client


def site_with_finding(back: BackEnd, client: TestClient) -> tuple[str, str]:
    slug = back.add_site()
    back.hand_in(slug, open_sensor_log(FIRST, broken_until=None, hours=5 * 24))
    back.worker().work_all()
    found = client.get(f"/api/sites/{slug}/findings").json()
    (broken,) = [one for one in found if one["kind"] == "sensor_fault"]
    assert broken["state"] == "new"
    return slug, broken["key"]


def state_of(client: TestClient, slug: str, kind: str = "sensor_fault") -> str:
    found = client.get(f"/api/sites/{slug}/findings").json()
    return next(one["state"] for one in found if one["kind"] == kind)


def step(client: TestClient, slug: str, key: str, to: str, **more: str):
    return client.post(f"/api/sites/{slug}/findings/{key}/step", json={"to": to, **more})


def test_put_right_is_confirmed_by_the_next_logs(back: BackEnd, client: TestClient) -> None:
    slug, key = site_with_finding(back, client)
    assert step(client, slug, key, "accepted").json()["state"] == "accepted"
    again = step(client, slug, key, "accepted").json()
    assert len(again["events"]) == 1
    done = step(
        client, slug, key, "put_right", note="sensor changed", done_at="2025-06-06T10:00:00Z"
    )
    assert [one["state"] for one in done.json()["events"]] == ["accepted", "put_right"]
    back.worker().work_all()
    assert state_of(client, slug) == "put_right"
    later = FIRST + timedelta(days=5)
    back.hand_in(
        slug, open_sensor_log(later, broken_until=later + timedelta(hours=9), hours=5 * 24), "b.csv"
    )
    back.worker().work_all()
    assert state_of(client, slug) == "confirmed"


def test_what_was_not_put_right_comes_back(back: BackEnd, client: TestClient) -> None:
    slug, key = site_with_finding(back, client)
    step(client, slug, key, "put_right", done_at="2025-06-06T10:00:00Z")
    later = FIRST + timedelta(days=5)
    back.hand_in(slug, open_sensor_log(later, broken_until=None, hours=5 * 24), "b.csv")
    back.worker().work_all()
    assert state_of(client, slug) == "came_back"
    assert "Came back" in client.get("/").text


def test_setting_aside_takes_a_reason_and_a_day(back: BackEnd, client: TestClient) -> None:
    slug, key = site_with_finding(back, client)
    assert "1 of 1 roof needs somebody" in client.get("/").text
    assert step(client, slug, key, "set_aside").status_code == 422
    assert step(client, slug, key, "set_aside", note="x", until="2025-06-20").status_code == 422
    good = step(client, slug, key, "set_aside", note="owner away", until="2025-07-20")
    assert good.json()["state"] == "set_aside"
    assert "1 finding set aside" in client.get("/").text
    assert "needs somebody" not in client.get("/").text
    back.clock.move(days=31)
    assert "needs somebody" in client.get("/").text


def test_steps_that_cannot_follow_are_refused(back: BackEnd, client: TestClient) -> None:
    slug, key = site_with_finding(back, client)
    assert step(client, slug, key, "confirmed").status_code == 409
    assert step(client, slug, "no-such", "accepted").status_code == 404


def test_the_page_takes_steps_without_script(back: BackEnd, client: TestClient) -> None:
    slug, key = site_with_finding(back, client)
    path = f"/sites/{slug}/findings/{key}"
    refused = client.post(f"{path}/step", data={"to": "set_aside", "until": "2025-08-01"})
    assert refused.status_code == 422
    assert "Say why" in refused.text
    assert client.post(f"{path}/step", data={"to": "put_right", "note": "done"}).status_code == 303
    shown = client.get(path).text
    assert "put right, waiting for the next logs" in shown
    assert "this machine" in shown
