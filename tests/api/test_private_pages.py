"""An empty house on the pages of a service: where people sign in, no page tells of it."""

from pathlib import Path

from starlette.testclient import TestClient

from analysis.results import report_json
from tests.build_report import a_finding, a_report, at
from tests.build_service import LOCAL, back_ends

PUBLIC = "https://heat.example.org"
SAYS = "No draw of hot water seen on 12 days"
PASSWORD = "several-words-together"


def pages(tmp_path: Path, base_url: str) -> dict[str, str]:
    """Give the pages of a site whose house stands empty, as its people see them."""
    from service.accounts.actions import make_setup_link
    from service.db.models import Site, SiteReport

    with back_ends(tmp_path) as make:
        back = make() if base_url == LOCAL else make(base_url=base_url)
        slug = back.add_site()
        found = a_finding(
            kind="no_draw", urgency="record", start_s=at(9, 16), end_s=None, summary=SAYS
        )
        with back.database.session() as db:
            site = db.get(Site, back.site_id(slug))
            assert site is not None
            db.add(
                SiteReport(
                    site_id=site.id,
                    report=report_json(a_report(findings=(found,))),
                    method="test",
                    site_version=site.version,
                    data_until_s=at(9, 28),
                    made_at=back.clock.now(),
                )
            )
        with TestClient(back.app(), base_url=base_url, headers={"accept": "text/html"}) as client:
            if base_url != LOCAL:
                with back.database.session() as db:
                    token = make_setup_link(db, now=back.clock.now())
                client.post("/first-password", data={"token": token, "password": PASSWORD})
            paths = ("/", f"/sites/{slug}", f"/sites/{slug}/report.html")
            answers = {path: client.get(path) for path in paths}
    assert all(answer.status_code == 200 for answer in answers.values())
    return {path.replace(slug, "x"): answer.text for path, answer in answers.items()}


def test_where_people_sign_in_no_page_tells(tmp_path: Path) -> None:
    for path, text in pages(tmp_path, PUBLIC).items():
        assert "No draw" not in text, path
        assert "No hot water drawn" not in text, path


def test_on_the_own_machine_only_the_sites_own_page_tells(tmp_path: Path) -> None:
    told = {path for path, text in pages(tmp_path, LOCAL).items() if SAYS in text}
    assert told == {"/sites/x"}
