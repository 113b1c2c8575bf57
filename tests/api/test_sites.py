"""The site register: added by file or form, changed, deleted, brought back."""

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import select
from starlette.testclient import TestClient

from analysis.sitefile import parse_site
from service.db.models import DayMark, Site, SiteFileVersion, Upload
from service.sites.queries import file_versions
from tests.build_service import LOCAL, BackEnd, back_ends, site_file, tidy_log

FORM = {
    "site.name": "Mill Lane 4",
    "site.latitude": "48,0",
    "site.longitude": "11.0",
    "site.elevation_m": "500",
    "site.timezone": "Europe/Berlin",
    "array.1.collector": "heat_pipe",
    "array.1.tubes": "20",
    "array.1.tubes_run": "",
    "array.1.tilt_deg": "45",
    "array.1.azimuth_deg": "180",
    "array.1.area_m2": "2",
    "array.1.area_basis": "aperture",
    "array.1.eta0": "0.72",
    "array.1.a1_w_m2k": "1.4",
    "array.1.a2_w_m2k2": "0.006",
    "array.1.heat_capacity_kj_m2k": "10",
    "array.1.iam_diffuse": "0.92",
    "array.1.iam_angles_deg": "0, 30, 60, 90",
    "array.1.iam_transversal": "1, 1.1, 1.2, 0",
    "array.1.iam_longitudinal": "1; 0,98; 0,85; 0",
    "loop.fluid": "propylene_glycol",
    "loop.concentration": "0.4",
    "loop.flow_l_min": "2",
    "loop.pump_w": "40",
    "loop.kind": "filled",
    "store.volume_l": "300",
    "store.limit_c": "80",
    "button": "add",
}


@pytest.fixture
def back(tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path) as make:
        yield make()


@pytest.fixture
def client(back: BackEnd) -> Iterator[TestClient]:
    with TestClient(back.app(), base_url=LOCAL) as client:
        yield client


def test_a_site_is_added_by_its_file(client: TestClient) -> None:
    answer = client.post("/api/sites", content=site_file("Mühle №4"))
    assert answer.status_code == 201
    assert answer.json()["slug"] == "muhle-no4"
    assert client.get("/api/sites/muhle-no4/file").text == site_file("Mühle №4")
    assert [site["name"] for site in client.get("/api/sites").json()] == ["Mühle №4"]


@pytest.mark.parametrize("database", ["sqlite", "postgres"])
def test_sites_that_are_added_at_the_same_moment_are_all_there(
    tmp_path: Path, database: str
) -> None:
    # Each adds to the firm's trail first, and then picks an address that none of the firm has.
    with back_ends(tmp_path, database) as make:
        back = make()
        with TestClient(back.app(), base_url=LOCAL) as client, ThreadPoolExecutor(4) as crew:

            def add(_number: int) -> tuple[int, str]:
                answer = client.post("/api/sites", content=site_file("Mill 4"))
                return answer.status_code, answer.json().get("slug", answer.text)

            added = list(crew.map(add, range(16)))
    expected = ["mill-4", *(f"mill-4-{number}" for number in range(2, 17))]
    assert sorted(added) == sorted((201, slug) for slug in expected)


def test_names_that_look_alike_get_addresses_of_their_own(client: TestClient) -> None:
    slugs = [
        client.post("/api/sites", content=site_file(name)).json()["slug"]
        for name in ("Mill 4", "Mill 4", "new", "日本")
    ]
    assert slugs == ["mill-4", "mill-4-2", "new-2", "site"]


def test_a_bad_file_names_key_and_line_and_adds_nothing(client: TestClient) -> None:
    answer = client.post("/api/sites", content=site_file().replace("= 45", "= 145"))
    assert answer.status_code == 422
    problem = answer.json()
    assert problem["key"] == "array.1.tilt_deg"
    assert problem["line"] == 13
    assert "145" in problem["detail"]
    assert client.post("/api/sites", content=b"\xff\xfe\x00").status_code == 422
    assert client.get("/api/sites").json() == []


def test_a_form_gives_the_site_file_of_the_same_facts(client: TestClient) -> None:
    answer = client.post("/api/sites/form", json=FORM)
    assert answer.status_code == 201, answer.text
    text = client.get(f"/api/sites/{answer.json()['slug']}/file").text
    assert parse_site(text) == parse_site(site_file())


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("array.1.tilt_deg", "steep", '"steep"'),
        ("store.volume_l", "", "missing"),
        ("site.timezone", "Berlin", "time zone"),
        ("site.name", 'x"\n[backup]\nfuel = "lpg', None),
    ],
)
def test_a_form_error_names_its_field(
    client: TestClient, field: str, value: str, words: str | None
) -> None:
    answer = client.post("/api/sites/form", json={**FORM, field: value})
    if words is None:
        facts = parse_site(client.get(f"/api/sites/{answer.json()['slug']}/file").text)
        assert facts.place.name == value
        assert facts.backup is None
    else:
        assert answer.status_code == 422
        assert answer.json()["key"] == field
        assert words in answer.json()["detail"]


def test_a_new_file_keeps_the_old_one_and_marks_every_day(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    back.hand_in(slug, tidy_log(hours=72))
    back.worker().work_all()
    changed = site_file().replace("volume_l = 300", "volume_l = 400")
    answer = client.put(f"/api/sites/{slug}/file", content=changed)
    assert (answer.json()["version"], answer.json()["note"]) == (2, None)
    with back.database.reading() as db:
        (old,) = file_versions(db, site_id=back.site_id(slug))
        assert old.text == site_file()
        days = set(map(str, db.scalars(select(DayMark.date))))
    assert {"2025-06-01", "2025-06-02", "2025-06-03", "2025-06-04"} <= days
    back.worker().work_all()
    assert client.get(f"/api/sites/{slug}/report").status_code == 200


def test_a_bad_new_file_changes_nothing(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    assert client.put(f"/api/sites/{slug}/file", content="schema = 2").status_code == 422
    with back.database.reading() as db:
        assert db.scalars(select(SiteFileVersion)).all() == []
        assert db.scalar(select(Site.text)) == site_file()


def test_new_rules_for_reading_have_the_logs_read_again(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    upload_id = back.hand_in(slug, tidy_log(hours=72))
    back.worker().work_all()
    before = client.get(f"/api/sites/{slug}/report").json()
    answer = client.put(f"/api/sites/{slug}/file", content=site_file() + '[log]\nstamp = "start"\n')
    assert "read again" in answer.json()["note"]
    with back.database.reading() as db:
        assert db.get(Upload, upload_id).state == "kept"
    back.worker().work_all()
    after = client.get(f"/api/sites/{slug}/report").json()
    assert (before["from"], after["from"]) == ("2025-06-01T00:00:00Z", "2025-06-01T00:10:00Z")
    assert after["rows"] == before["rows"]


def test_deleting_needs_the_name_and_can_be_undone(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    back.hand_in(slug, tidy_log(hours=48))
    back.worker().work_all()
    wrong = client.delete(f"/api/sites/{slug}", params={"confirm": "mill"})
    assert wrong.status_code == 409
    assert "Mill Lane 4" in wrong.json()["detail"]
    gone = client.delete(f"/api/sites/{slug}", params={"confirm": "Mill Lane 4"})
    assert client.get(f"/api/sites/{slug}/report").status_code == 404
    assert client.get("/api/sites").json() == []
    assert client.post(gone.json()["restore"]).status_code == 200
    back.worker().work_all()
    assert client.get(f"/api/sites/{slug}/report").json()["rows"]["kept"] == 288


def test_after_the_undo_time_rows_and_raw_files_are_gone(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    kept = back.add_site("Farm Road 9")
    back.hand_in(slug, tidy_log(hours=48))
    back.hand_in(kept, tidy_log(hours=48, seed=2))
    worker = back.worker()
    worker.work_all()
    client.delete(f"/api/sites/{slug}", params={"confirm": "Mill Lane 4"})
    back.clock.move(days=31)
    worker.tidy()
    assert client.post(f"/api/sites/{slug}/restore").status_code == 404
    with back.database.reading() as db:
        hashes = list(db.scalars(select(Upload.sha256)))
    files = [path.name for path in worker.raw.folder.rglob("*") if path.is_file()]
    assert files == hashes
    assert len(files) == 1


def test_a_sites_stale_report_is_made_anew(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    back.hand_in(slug, tidy_log(hours=48))
    worker = back.worker()
    worker.work_all()
    assert not worker.work_once()
    back.clock.moment += timedelta(hours=7)
    assert worker.work_once()
    assert not worker.work_once()


def test_one_sites_failure_stops_nobody_else(
    back: BackEnd, client: TestClient, monkeypatch
) -> None:
    from service.assessments import actions

    bad, good = back.add_site("Bad"), back.add_site("Good")
    back.hand_in(bad, tidy_log(hours=24))
    back.hand_in(good, tidy_log(hours=24, seed=2))
    think = actions._think

    def failing(seen, *, now):
        if '"Bad"' in seen.site_text:
            raise ZeroDivisionError("too good to be true")
        return think(seen, now=now)

    monkeypatch.setattr(actions, "_think", failing)
    worker = back.worker()
    worker.work_all()
    assert client.get(f"/api/sites/{good}/report").status_code == 200
    refused = client.get(f"/api/sites/{bad}/report")
    assert "could not be assessed" in refused.json()["detail"]
    monkeypatch.undo()
    back.clock.move(minutes=3)
    worker.work_all()
    assert client.get(f"/api/sites/{bad}/report").status_code == 200
    assert client.get("/api/sites").json()[0]["problem"] is None
