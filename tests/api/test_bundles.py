"""Bundles of a site: the logs as they came, the records, nothing private; made, taken, checked."""

import csv
import io
import json
import zipfile
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from analysis.results import finding_json
from service.cli import main
from service.clock import FixedClock
from service.db.base import Base
from service.db.models import Site, SiteReport, TrailEntry
from service.evidence.make import make_bundle
from service.evidence.verify import verify
from service.ingest.files import RawStore
from tests.build_report import a_finding, at
from tests.build_service import LOCAL, BackEnd, back_ends, site_file, tidy_log

FIRST = datetime(2025, 6, 1, tzinfo=UTC)
LOG = tidy_log(first=FIRST, hours=30)
BAD = "no log at all\n"
SAYS = "No draw of hot water seen on 12 days"


def _stamp(when: datetime) -> str:
    return f"{when:%Y-%m-%dT%H:%M:%SZ}"


class Served:
    def __init__(self, back: BackEnd, client: TestClient) -> None:
        self.back, self.client = back, client
        self.slug = back.add_site()
        back.hand_in(self.slug, LOG, name="Juni Müller.csv")
        back.hand_in(self.slug, BAD, name="../../etc/passwd")
        key = back.add_key(self.slug)
        rows = [
            {"time": _stamp(FIRST + timedelta(days=3, minutes=m)), "t_collector_c": 40 + m}
            for m in range(0, 50, 10)
        ]
        sent = client.post(
            f"/api/sites/{self.slug}/rows",
            json={"rows": rows},
            headers={"authorization": f"Bearer {key}"},
        )
        assert sent.status_code == 200, sent.text
        back.worker().work_all()
        self._private_finding()

    def _private_finding(self) -> None:
        """Lay a finding into the report that says that a house stood empty."""
        found = a_finding(
            kind="no_draw", urgency="record", start_s=at(9, 16), end_s=None, summary=SAYS
        )
        with self.back.database.session() as db:
            saved = db.get_one(SiteReport, self.back.site_id(self.slug))
            listed = [*saved.report["findings"], finding_json(found)]
            saved.report = {**saved.report, "findings": listed}

    def files(self, what: str = "bundle") -> dict[str, bytes]:
        answer = self.client.post(f"/sites/{self.slug}/{what}")
        assert answer.status_code == 200
        assert answer.headers["content-type"] == "application/zip"
        with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
            return {name: archive.read(name) for name in archive.namelist()}

    def made(self, folder: Path, name: str = "b.zip") -> Path:
        path = folder / name
        path.write_bytes(self.client.post(f"/sites/{self.slug}/bundle").content)
        return path


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with back_ends(tmp_path_factory.mktemp("bundles")) as make:
        back = make()
        with TestClient(back.app(), base_url=LOCAL, headers={"accept": "text/html"}) as client:
            yield Served(back, client)


def rows(content: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode())))


def test_a_bundle_from_the_page_is_whole(served, tmp_path):
    looked = verify(served.made(tmp_path))
    assert looked.problems == []
    page = served.client.get(f"/sites/{served.slug}/warranty").text
    assert looked.public_key in page


def test_logs_are_in_it_byte_by_byte_with_names_that_do_no_harm(served):
    files = served.files()
    assert files["logs/00001-Juni-Mller.csv"] == LOG.encode()
    assert files["logs/00002-passwd"] == BAD.encode()
    first, second = rows(files["logs.csv"])
    assert (first["name_as_handed_in"], first["state"]) == ("Juni Müller.csv", "stored")
    assert second["state"] == "refused"
    assert int(first["rows_read"]) == 180


def test_rows_of_a_gateway_are_in_it_though_they_never_were_a_file(served):
    found = rows(served.files()["rows/2025-06.csv"])
    pushed = [one for one in found if one["time"].startswith("2025-06-04")]
    assert [float(one["t_collector_c"]) for one in pushed] == [40, 50, 60, 70, 80]


def test_records_and_report_are_in_it(served):
    files = served.files()
    assert set(files) >= {
        "README.txt", "site.toml", "site-files.csv", "report.json", "report.txt",
        "records/commissioning.csv", "records/changes.csv", "records/terms.csv",
        "records/hot-years.csv", "records/visits.csv", "records/findings.json",
        "records/steps.csv", "CHECKSUMS", "SIGNATURE.json",
    }  # fmt: skip
    assert files["site.toml"].decode() == site_file()
    report = json.loads(files["report.json"])
    assert report["rows"]["read"] == 185
    assert {one["kind"] for one in json.loads(files["records/findings.json"])} == {
        one["kind"] for one in (*report["findings"], *report["explained"])
    }
    for name in files:
        where = name.split("/")[0]
        assert where in files["README.txt"].decode() or where in ("README.txt", "logs", "rows"), (
            name
        )


def test_what_shows_that_a_house_stood_empty_is_not_in_it_but_is_the_customers_own(served):
    evidence, own = served.files(), served.files("privacy/export")
    for name, content in evidence.items():
        if name != "README.txt":
            assert b"no_draw" not in content, name
            assert SAYS.encode() not in content, name
    assert SAYS in own["report.txt"].decode()
    assert any(one["kind"] == "no_draw" for one in json.loads(own["records/findings.json"]))
    assert b"consents.csv" not in b"".join(name.encode() for name in evidence)


def test_the_same_state_gives_the_same_bytes_but_for_the_time_of_the_signature(served, tmp_path):
    with served.back.database.reading() as db:
        site = db.get_one(Site, served.back.site_id(served.slug))
        raw = RawStore(served.back.settings.data_dir)
        made = []
        for minutes in (0, 0, 5):
            now = served.back.clock.now() + timedelta(minutes=minutes)
            path, _ = make_bundle(db, site=site, raw=raw, everything=False, now=now)
            made.append(path.read_bytes())
            path.unlink()
    assert made[0] == made[1]
    cut = made[0].index(b"PK\3\4", made[0].index(b"CHECKSUMS"))
    assert made[0][:cut] == made[2][:cut]
    assert made[0] != made[2]


def test_nothing_is_left_behind(served):
    served.files()
    folder = served.back.settings.data_dir / "uploads"
    assert list(folder.glob(".incoming-*")) == []


def test_taking_it_leaves_a_line_in_the_trail(served):
    served.files()
    with served.back.database.reading() as db:
        lines = [one.what for one in db.query(TrailEntry).filter_by(subject=served.slug)]
    assert "pages.bundles.evidence" in lines


def test_a_damaged_log_is_said_and_no_bundle_is_given(tmp_path):
    with back_ends(tmp_path) as make:
        back = make()
        slug = back.add_site()
        back.hand_in(slug, LOG)
        (path,) = [one for one in (back.settings.data_dir / "uploads").rglob("*") if one.is_file()]
        path.write_bytes(LOG.replace("5", "6").encode())
        with TestClient(back.app(), base_url=LOCAL) as client:
            answer = client.post(f"/sites/{slug}/bundle")
    assert answer.status_code == 409
    assert path.name in answer.text
    assert list(path.parents[1].glob(".incoming-*")) == []


# Tables that belong to a site, and where the customer's own file shows them.
SHOWN = {
    "api_key": "records/gateway-keys.csv",
    "case_event": "records/steps.csv",
    "consent": "records/consents.csv",
    "customer_contact": "records/contact.csv",
    "customer_link": "records/links.csv",
    "day_row": "days.csv",
    "finding_case": "records/steps.csv",
    "finding_seen": "records/findings.json",
    "outbox": "records/mails.json",
    "report": "report.json",
    "rolled_day": "rolled-days.csv",
    "site": "site.toml",
    "site_file_version": "site-files.csv",
    "trail_entry": "records/trail.csv",
    "upload": "logs.csv",
    "visit": "records/visits.csv",
    "weather_file": "weather.csv",
    "weather_source": "weather.csv",
    "yearly_letter": "records/letters.csv",
}
# Worked out from the logs and weather files that are in it, marks of work to do, or the choice of
# somebody at the firm.
DERIVED = {"channel_seen", "day_block", "day_layer", "day_mark", "weather_day", "recipient_site"}


def test_every_table_that_belongs_to_a_site_is_in_the_customers_own_file(served):
    belongs = {
        table.name
        for table in Base.metadata.sorted_tables
        if any(key.target_fullname == "site.id" for key in table.foreign_keys)
    }
    assert belongs <= set(SHOWN) | DERIVED
    files = served.files("privacy/export")
    assert set(SHOWN.values()) <= set(files)


def test_the_customers_own_file_tells_of_consents_links_mails_and_who_did_what(served):
    client, path = served.client, f"/sites/{served.slug}"
    client.post(f"{path}/customer", data={"label": "=the family", "days": "9"})
    given = {"purpose": "letter", "given_by": "M. Mill", "given_on": "2025-06-01"}
    client.post(f"{path}/privacy/consents", data=given)
    files = served.files("privacy/export")
    assert rows(files["records/links.csv"])[0]["for"] == "'=the family"  # no formula
    assert rows(files["records/consents.csv"])[0]["given_by"] == "M. Mill"
    assert {"pages.customers.make", "pages.privacy.record"} <= {
        one["what"] for one in rows(files["records/trail.csv"])
    }
    assert len(rows(files["days.csv"])) >= 2


# --- the commands


def run(capsys, *args: str) -> tuple[int, str, str]:
    status = main(args)
    said = capsys.readouterr()
    return status, said.out, said.err


def test_bundle_and_verify_on_the_command_line(served, tmp_path, capsys):
    out = tmp_path / "mill.zip"
    places = ("--data-dir", str(served.back.settings.data_dir))
    status, said, err = run(capsys, "bundle", *places, served.slug, "--out", str(out))
    assert (status, err) == (0, "")
    root, key = (line.split()[1] for line in said.splitlines()[1:])
    status, said, _ = run(capsys, "verify", str(out), "--key", key)
    assert status == 0
    assert "nothing altered, added, missing, renamed or in another order" in said
    assert root in said
    assert "cannot prove" not in said
    assert "cannot prove" in run(capsys, "verify", str(out))[1]
    held = tmp_path / "key.txt"
    held.write_text(f"{key[:32]} {key[32:]}\n")
    assert run(capsys, "verify", str(out), "--key", str(held))[0] == 0
    status, said, _ = run(capsys, "verify", str(out), "--key", "0" * 64)
    assert status == 1
    assert "not with the key that you gave" in said


def test_verify_says_what_was_altered(served, tmp_path, capsys):
    whole = served.made(tmp_path)
    altered = tmp_path / "altered.zip"
    with zipfile.ZipFile(whole) as old, zipfile.ZipFile(altered, "w") as new:
        for one in old.infolist():
            content = old.read(one)
            if one.filename.endswith("Mller.csv"):
                content = content.replace(b"2.0", b"2.9", 1)
            new.writestr(one, content)
    status, said, err = run(capsys, "verify", str(altered))
    assert (status, err) == (1, "")
    assert said.splitlines() == [
        "logs/00001-Juni-Mller.csv was altered",
        "This is not the bundle as it was made.",
    ]


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("verify", "none.zip"), "none.zip: No such file or directory"),
        (("verify", __file__), "this is no zip file"),
        (("verify", "x", "--key", "12"), "--key must be 64 digits"),
        (("bundle", "nowhere"), "nowhere: no such site"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line(tmp_path, monkeypatch, capsys, args, words):
    monkeypatch.chdir(tmp_path)
    status, out, err = run(capsys, *args)
    assert (status, out) == (2, "")
    assert words in err
    assert err.count("\n") == 1


def test_two_firms_with_a_site_of_one_name_are_asked_whose(tmp_path, capsys):
    from service.accounts.people import new_firm
    from service.db.models import Firm
    from service.sites.actions import register_site

    with back_ends(tmp_path) as make:
        back = make()
        back.add_site()
        with back.database.session() as db:
            new_firm(db, name="Other", login="o", now=back.clock.now())
            other = db.query(Firm).filter_by(name="Other").one()
            register_site(db, firm_id=other.id, text=site_file(), now=back.clock.now())
        places = ("--data-dir", str(back.settings.data_dir), "--out", str(tmp_path / "o.zip"))
        status, _, err = run(capsys, "bundle", *places, "mill-lane-4")
        assert status == 2
        assert "say whose with --firm" in err
        assert run(capsys, "bundle", *places, "mill-lane-4", "--firm", "Other")[0] == 0
        assert isinstance(back.clock, FixedClock)
