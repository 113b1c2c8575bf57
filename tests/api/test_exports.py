"""A site's data taken along: the same figures in three formats, times told twice, no formula."""

import csv
import io
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import openpyxl
import pyarrow.parquet as pq
import pytest
from fastapi.testclient import TestClient

from analysis.results import Bounded
from service.db.models import Site
from service.exports import writers
from service.exports.rows import hours_table, readings_table
from service.exports.tables import Span, Table
from tests.api.test_letters import YEAR
from tests.build_mail import save_report
from tests.build_report import a_finding, a_report
from tests.build_service import LOCAL, back_ends, tidy_log

NASTY = '=HYPERLINK("http://evil.example","x")'


@pytest.fixture(scope="module")
def back(tmp_path_factory):
    with back_ends(tmp_path_factory.mktemp("exports")) as make:
        back = make()
        back.clock.moment = datetime(2025, 11, 1, tzinfo=UTC)
        slug = back.add_site()
        # Over the night in which Berlin's clock goes back an hour.
        back.hand_in(slug, tidy_log(first=datetime(2025, 10, 25, tzinfo=UTC), hours=48))
        back.worker().work_all()
        away = a_finding(kind="no_draw", urgency="watch", summary="Nobody used hot water.")
        odd = a_finding(summary=NASTY, lost=Bounded(value=-1.5, low=-2.0, high=0.0))
        save_report(back, slug, replace(a_report(findings=(odd, away)), years=(YEAR,)))
        yield back


@pytest.fixture(scope="module")
def client(back):
    with TestClient(back.app(), base_url=LOCAL, follow_redirects=False) as client:
        yield client


def ask(client, what, form, more=""):
    answer = client.get(f"/api/sites/mill-lane-4/export?what={what}&format={form}{more}")
    assert answer.status_code == 200, answer.text
    return answer


def rows_of(client, what, more=""):
    return list(csv.DictReader(io.StringIO(ask(client, what, "csv", more).text)))


@pytest.mark.parametrize("what", ["days", "hours", "readings", "findings", "savings"])
def test_three_formats_hold_the_same(client, what):
    as_text = rows_of(client, what)
    sheet = openpyxl.load_workbook(io.BytesIO(ask(client, what, "xlsx").content)).active
    cells = list(sheet.iter_rows(values_only=True))
    table = pq.read_table(io.BytesIO(ask(client, what, "parquet").content))
    assert len(as_text) == len(cells) - 1 == table.num_rows > 0
    assert list(as_text[0]) == list(cells[0]) == table.column_names
    for head, place in zip(cells[0], range(len(cells[0])), strict=True):
        for text, row, value in zip(as_text, cells[1:], table[head].to_pylist(), strict=True):
            if isinstance(value, float):
                assert float(text[head]) == pytest.approx(value)
                assert row[place] == pytest.approx(value)
            elif value is None:
                assert (text[head], row[place]) == ("", None)


def test_readings_come_back_as_the_same_log(back, client, tmp_path):
    text = ask(client, "readings", "csv").text
    with back_ends(tmp_path) as make:
        other = make()
        other.clock.moment = back.clock.moment
        slug = other.add_site()
        other.hand_in(slug, text)
        other.worker().work_all()
        (first,), (again,) = (pieces_of(one, "mill-lane-4") for one in (back, other))
    assert list(first) == list(again)
    for head in first:
        np.testing.assert_array_equal(first[head], again[head])


def pieces_of(back, slug):
    with back.database.reading() as db:
        site = db.get(Site, back.site_id(slug))
        return list(readings_table(db, site, Span()).pieces)


def test_the_hour_that_comes_twice_is_told_apart_by_its_offset(client):
    walls = [
        row["time_local"] for row in rows_of(client, "hours", "&from=2025-10-26&to=2025-10-26")
    ]
    assert len(walls) == 25
    assert walls[0] == "2025-10-26T00:00:00+02:00"
    assert "2025-10-26T02:00:00+02:00" in walls
    assert "2025-10-26T02:00:00+01:00" in walls


def test_hours_are_means_weighted_by_time_and_counters_their_last(back):
    with back.database.reading() as db:
        site = db.get(Site, back.site_id("mill-lane-4"))
        (hours,) = hours_table(db, site, Span()).pieces
        (rows,) = readings_table(db, site, Span()).pieces
    starts = np.asarray(rows["time"]) - 600  # a tidy log stamps the end of a step
    for hour, mean in zip(hours["time"], hours["t_collector_c"], strict=True):
        inside = (starts >= hour) & (starts < hour + 3600)
        assert mean == pytest.approx(np.asarray(rows["t_collector_c"])[inside].mean())
    assert set(hours["logged [share]"]) == {1.0}


def test_a_text_that_looks_like_a_formula_is_none_and_numbers_stay_numbers(client):
    (row,) = rows_of(client, "findings")
    assert row["summary"] == "'" + NASTY
    assert row["lost heat [kWh]"] == "-1.5"
    sheet = openpyxl.load_workbook(io.BytesIO(ask(client, "findings", "xlsx").content)).active
    (cells,) = sheet.iter_rows(min_row=2)
    assert {cell.data_type for cell in cells} <= {"s", "n", "d"}
    assert "'" + NASTY in [cell.value for cell in cells]
    assert -1.5 in [cell.value for cell in cells]


def test_nothing_private_is_taken_along(client):
    for form in ("csv", "xlsx", "parquet"):
        assert b"hot water" not in ask(client, "findings", form).content
    assert [row["kind"] for row in rows_of(client, "findings")] == ["lost_circulation"]


def test_days_are_narrowed_down_and_units_stand_in_the_heads(client):
    rows = rows_of(client, "days", "&from=2025-06-01&to=2025-06-03")
    assert [row["date"] for row in rows] == ["2025-06-01", "2025-06-02", "2025-06-03"]
    assert "delivered [kWh]" in rows[0]
    gap = rows_of(client, "days", "&from=2025-03-10&to=2025-03-10")
    assert gap[0]["delivered [kWh]"] == ""  # not measured is not nothing


def test_what_is_too_much_for_a_sheet_is_refused_in_plain_words(tmp_path, monkeypatch):
    monkeypatch.setattr(writers, "MOST_XLSX_ROWS", 3)
    table = Table(columns={"x": "number"}, pieces=[{"x": [1.0, 2.0]}, {"x": [3.0, 4.0]}])
    with pytest.raises(writers.InvalidError, match="CSV or Parquet"):
        writers.write_xlsx(table, tmp_path / "x.xlsx")


def test_a_site_without_data_says_so(back, client):
    back.add_site("Empty")
    answer = client.get("/api/sites/empty/export?what=days")
    assert answer.status_code == 404
    assert "hand in a log first" in answer.json()["detail"]
    assert client.get("/api/sites/empty/export?what=readings").status_code == 200
    assert client.get("/api/sites/empty/export?what=roofs").status_code == 422
    assert client.get("/sites/empty/export").status_code == 200


def test_the_command_writes_the_file_whole(back, capsys, tmp_path):
    from service.cli import main

    folder = str(back.settings.data_dir)
    out = tmp_path / "days.parquet"
    given = ["export", "mill-lane-4", "--data-dir", folder, "--format", "parquet", "--out"]
    assert main([*given, str(out)]) == 0
    assert capsys.readouterr().out == f"{out}\n"
    assert pq.read_table(out).num_rows == 365
    assert main(["export", "nowhere", "--data-dir", folder]) == 2
    assert "there is no site" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == [out]


def test_everything_is_taken_along_without_what_signs_in(tmp_path, capsys):
    from zipfile import ZipFile

    from service.cli import main
    from service.db.models import Account, Recipient

    with back_ends(tmp_path / "made") as make:
        back = make()
        slug = back.add_site()
        back.hand_in(slug, tidy_log(hours=24), "card.csv")
        with back.database.session() as db:
            given = {"firm_id": back.firm_id, "created_at": back.clock.now()}
            db.add(Account(login="=owner", password_hash="a hash", totp_secret="TOTP", **given))
            db.add(Recipient(address="reader@example.org", timezone="UTC", **given))
        back.worker().work_all()
        back.add_site("Without logs")
        out = tmp_path / "all"
        given = ["export", "--all", str(out), "--data-dir", str(back.settings.data_dir)]
        assert main(given) == 1
        said = capsys.readouterr()
        assert said.out == f"{out}\n"
        assert "Without logs: no days, since there is no report yet" in said.err
        firm = out / f"firm-{back.firm_id}"
        site = firm / slug
        assert (site / "site.toml").read_text().startswith("schema = 1")
        assert len((site / f"{slug}-readings.csv").read_text().splitlines()) == 144 + 1
        assert (site / f"{slug}-days.csv").exists()
        (bundle,) = site.glob("*.zip")
        with ZipFile(bundle) as archive:
            logs = [name for name in archive.namelist() if name.endswith("card.csv")]
            assert archive.read(logs[0]).decode() == tidy_log(hours=24)
        assert "reader@example.org" in (firm / "readers.csv").read_text()
        assert "'=owner" in (firm / "people.csv").read_text()
        text = "".join(path.read_text("latin-1") for path in out.rglob("*.csv"))
        assert "a hash" not in text
        assert "TOTP" not in text
        assert main(given) == 2
        assert "holds something already" in capsys.readouterr().err
        assert main(given[:1] + given[3:]) == 2
        assert "name a site, or a folder" in capsys.readouterr().err


def test_a_piece_is_written_before_the_next_is_read(tmp_path):
    target = tmp_path / "x.csv"
    sizes = []

    def pieces():
        for number in range(3):
            sizes.append(target.stat().st_size)
            yield {"x": np.full(100_000, float(number))}

    writers.write_csv(Table(columns={"x": "number"}, pieces=pieces()), target)
    assert sizes == sorted(set(sizes))
