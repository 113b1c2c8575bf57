"""The invented site: added and removed by one press each, and counted nowhere."""

from collections.abc import Iterator
from datetime import date
from types import SimpleNamespace

import pytest
from starlette.testclient import TestClient

from service.assessments.queries import fleet
from service.db.models import Site, Upload
from service.digests.queries import digest_sites, reports_made
from service.sites import example
from service.sites.queries import list_sites
from tests.build_service import LOCAL, BackEnd, back_ends, site_file, tidy_log


@pytest.fixture
def back(tmp_path, monkeypatch: pytest.MonkeyPatch) -> Iterator[BackEnd]:
    # The simulator takes seconds; what it makes is handed in like any other log.
    made = SimpleNamespace(
        site_toml=site_file("Invented"), log=tidy_log(hours=30).encode(), log_name="example.csv"
    )
    monkeypatch.setattr(example, "example_files", lambda today: made)
    with back_ends(tmp_path) as make:
        yield make()


@pytest.fixture
def client(back: BackEnd) -> Iterator[TestClient]:
    with TestClient(back.app(), base_url=LOCAL, follow_redirects=True) as client:
        yield client


def test_it_is_added_once_and_marked(back: BackEnd, client: TestClient) -> None:
    assert "Add the invented roof" in client.get("/").text
    page = client.post("/example").text
    assert "This roof is invented" in page
    client.post("/example")
    back.worker().work_all()
    fleet_page = client.get("/").text
    assert fleet_page.count('href="/sites/invented"') == 1
    assert "Which roof comes first?" in fleet_page
    assert "Add the invented roof" not in fleet_page


def test_it_counts_nowhere(back: BackEnd, client: TestClient) -> None:
    back.add_site("Own")
    client.post("/example")
    back.worker().work_all()
    today = back.clock.now().date()
    with back.database.reading() as db:
        assert [one.name for one in list_sites(db, firm_id=back.firm_id)] == ["Own"]
        assert [one.site.name for one in fleet(db, firm_id=back.firm_id)] == ["Own"]
        told = digest_sites(db, firm_id=back.firm_id, today=today)
        assert [one.name for one in told.sites] == ["Own"]
        invented = db.query(Site).filter(Site.invented).one()
        assert invented.id not in {one.site_id for one in reports_made(db)}
    assert [one["name"] for one in client.get("/api/sites").json()] == ["Own"]
    assert "Invented" not in client.get("/visits").text
    assert "Invented" not in client.get("/letters").text


def test_it_is_removed_for_good(back: BackEnd, client: TestClient) -> None:
    own = back.add_site("Own")
    client.post("/example")
    back.worker().work_all()
    page = client.post("/example/remove").text
    assert "Invented" not in page
    with back.database.reading() as db:
        assert [one.slug for one in db.query(Site)] == [own]
        assert db.query(Upload).count() == 0
    assert not [one for one in (back.settings.data_dir / "raw").rglob("*") if one.is_file()]
    assert client.post("/example/remove").status_code == 200


def test_the_simulated_plant_is_one_that_can_be_handed_in() -> None:
    from analysis.sitefile import parse_site
    from fixtures.fleet import EXAMPLE, Calendar

    scenario = EXAMPLE.scenario(Calendar(last_day=date(2025, 6, 19), days=120))
    assert "invented" in scenario.name
    from fixtures.scenario import site_toml

    assert "invented" in parse_site(site_toml(scenario)).place.name
