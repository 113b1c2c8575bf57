"""Meter readings typed in during a visit, over HTTP and by form, up to the report."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from tests.build_service import LOCAL, BackEnd, back_ends, tidy_log


@pytest.fixture
def back(tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path) as make:
        yield make()


@pytest.fixture
def client(back: BackEnd) -> Iterator[TestClient]:
    with TestClient(back.app(), base_url=LOCAL, follow_redirects=False) as client:
        yield client


def test_readings_reach_the_report_beside_the_log_and_leave_its_figures(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    back.hand_in(slug, tidy_log(hours=24 * 8))
    back.worker().work_all()
    before = client.get(f"/api/sites/{slug}/report").json()
    for at, kwh in (("2025-06-01T12:00:00+02:00", 100.0), ("2025-06-07T12:00:00+02:00", 190.0)):
        body = {"at": at, "heat_register_kwh": kwh, "who": "Kim"}
        assert client.post(f"/api/sites/{slug}/readings", json=body).status_code == 201
    back.worker().work_all()
    after = client.get(f"/api/sites/{slug}/report").json()
    (span,) = after["readings"]
    assert (span["basis"], span["delivered_kwh"], span["who"]) == ("read_by_hand", 90.0, "Kim")
    assert span["delivered_low_kwh"] < 90.0 < span["delivered_high_kwh"]
    assert span["logged_kwh"] == pytest.approx(
        sum(day["delivered_kwh"] for day in after["days"] if "06-02" <= day["date"][5:] <= "06-06"),
        abs=0.01,
    )
    assert after["totals"] == before["totals"]
    assert after["days"] == before["days"]
    page = client.get(f"/sites/{slug}").text
    assert "Read by hand" in page
    assert "never added up" in page


def test_the_form_takes_what_people_type_and_says_what_is_wrong(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    path = f"/sites/{slug}/readings"
    good = {"at": "2025-06-01T12:00", "kwh": "12 345,6", "who": "Kim <b>"}
    assert client.post(path, data=good).status_code == 303
    shown = client.get(path).text
    assert "12,345.6 kWh" in shown
    assert "Kim &lt;b&gt;" in shown
    for wrong, words in (
        ({"kwh": "much"}, "no number"),
        ({"kwh": "-3"}, "allowed"),
        ({"at": "2031-01-01T00:00"}, "future"),
        ({"at": ""}, "Date and time"),
    ):
        answer = client.post(path, data={**good, **wrong})
        assert answer.status_code == 422
        assert words in answer.text
    assert len(client.get(f"/api/sites/{slug}/readings").json()) == 1


def test_either_decimal_sign_is_read_and_what_can_be_two_numbers_is_asked(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    path = f"/sites/{slug}/readings"
    for day, (typed, kwh) in enumerate(
        [("1.234,5", 1234.5), ("1,234.5", 1234.5), ("2345,678", 2345.678), ("3 456.7", 3456.7)], 1
    ):
        assert client.post(path, data={"at": f"2025-06-0{day}T12:00", "kwh": typed}).status_code
        shown = client.get(f"/api/sites/{slug}/readings").json()
        assert shown[-1]["heat_register_kwh"] == kwh
    open_one = {"at": "2025-06-09T12:00", "kwh": "4.567"}
    asked = client.post(path, data=open_one)
    assert asked.status_code == 422
    assert "can be two numbers" in asked.text
    assert 'value="4.567" required' in asked.text
    assert 'value="4567.0" required' in asked.text
    assert client.post(path, data={**open_one, "meant": "9.9"}).status_code == 422
    assert client.post(path, data={**open_one, "meant": "4567.0"}).status_code == 303
    assert client.get(f"/api/sites/{slug}/readings").json()[-1]["heat_register_kwh"] == 4567.0
