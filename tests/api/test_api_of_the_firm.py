"""What pages do for people, keys, links and sheets, as JSON."""

import pytest
from fastapi.testclient import TestClient

from service.accounts import people, sessions
from service.accounts.access import COOKIE
from service.accounts.actions import set_password_by_link
from tests.api.test_letters import customer
from tests.build_service import LOCAL, back_ends

ORIGIN = {"Origin": LOCAL}


@pytest.fixture
def back(tmp_path):
    with back_ends(tmp_path) as make:
        yield make()


@pytest.fixture
def client(back):
    with TestClient(back.app(), base_url=LOCAL, follow_redirects=False, headers=ORIGIN) as client:
        yield client


@pytest.fixture
def owner(back):
    """A client that an owner is signed in at."""
    now = back.clock.now()
    with back.database.session() as db:
        account, token = people.invite(
            db, firm_id=back.firm_id, login="boss@example.org", name="", role="owner", now=now
        )
        set_password_by_link(db, token=token, password="correct horse", now=now)
        cookie = sessions.start(db, account=account, now=now, days=1)
    with TestClient(back.app(), base_url=LOCAL, headers=ORIGIN, cookies={COOKIE: cookie}) as client:
        yield client


def test_somebody_is_asked_in_and_a_programs_key_may_not_govern(back, owner, client):
    made = owner.post("/api/people", json={"login": "a@example.org", "name": "A"})
    assert made.status_code == 201
    assert (made.json()["invited"], made.json()["role"]) == (True, "technician")
    token = made.json()["link"].partition("token=")[2]
    with back.database.session() as db:
        set_password_by_link(db, token=token, password="correct horse", now=back.clock.now())
    listed = {one["login"]: one["invited"] for one in owner.get("/api/people").json()}
    assert listed == {"boss@example.org": False, "a@example.org": False}
    key = owner.post("/api/keys", json={"label": "program", "role": "office"}).json()["key"]
    assert "key" not in owner.get("/api/keys").json()[0]
    shown = {"Authorization": f"Bearer {key}"}
    assert client.get("/api/people").status_code == 401
    assert client.get("/api/people", headers=shown).status_code == 403
    assert client.get("/api/sites", headers=shown).status_code == 200


def test_roles_change_and_people_leave(owner):
    made = owner.post("/api/people", json={"login": "a@example.org"}).json()
    path = f"/api/people/{made['id']}"
    assert owner.post(f"{path}/role", json={"role": "office"}).json()["role"] == "office"
    wrong = owner.post(f"{path}/role", json={"role": "king"})
    assert (wrong.status_code, wrong.json()["field"]) == (422, "role")
    assert owner.delete(path).status_code == 204
    assert [one["login"] for one in owner.get("/api/people").json()] == ["boss@example.org"]


def test_a_key_that_was_ended_opens_nothing(client):
    made = client.post("/api/keys", json={"label": "x", "role": "reader"}).json()
    shown = {"Authorization": f"Bearer {made['key']}"}
    assert client.get("/api/sites", headers=shown).status_code == 200
    assert client.delete(f"/api/keys/{made['id']}").status_code == 204
    assert client.get("/api/sites", headers=shown).status_code == 401


def test_links_open_until_they_are_withdrawn(back, client):
    slug = customer(back)
    made = client.post(f"/api/sites/{slug}/links", json={"label": "owner", "days": 30}).json()
    path = made["url"].removeprefix("http://127.0.0.1:8321")
    assert client.get(path).status_code == 200
    (listed,) = client.get(f"/api/sites/{slug}/links").json()
    assert listed["url"] == made["url"]
    assert listed["opened_at"] is not None
    assert client.delete(f"/api/sites/{slug}/links/{made['id']}").status_code == 204
    assert client.get(path).status_code == 404
    assert client.get(f"/api/sites/{slug}/links").json() == []
    too_long = client.post(f"/api/sites/{slug}/links", json={"label": "x", "days": 9999})
    assert too_long.status_code == 422


def test_days_and_sheet_are_those_of_the_pages_without_what_is_private(back, client):
    slug = customer(back, private=True)
    days = client.get(f"/api/sites/{slug}/days?from=2025-03-08&to=2025-03-10").json()
    assert [day["date"] for day in days] == ["2025-03-08", "2025-03-09", "2025-03-10"]
    assert days[0]["delivered_kwh"] > 0
    assert days[1]["delivered_kwh"] is None
    for lang in ("en", "de"):
        sheet = client.get(f"/api/sites/{slug}/sheet?lang={lang}&year=2025")
        shown = client.get(f"/sites/{slug}/sheet?lang={lang}&year=2025").text
        assert sheet.json()["headline"] in shown
        assert sheet.json()["rows"][0]["year"]["value"] in shown
        assert "Nobody used" not in sheet.text
