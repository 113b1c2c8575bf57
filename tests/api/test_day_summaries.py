"""Daily summaries through the service: handed in, asked, stored, pushed; figures are invented."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select
from starlette.testclient import TestClient

from analysis.assess import assess, observe
from analysis.days import span_s
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource
from analysis.record import record_from_stamps
from analysis.results import report_json
from analysis.sitefile import parse_site
from service.assessments.queries import latest_report
from service.db.models import Upload
from tests.build_service import LOCAL, NOON, BackEnd, back_ends, site_file, tidy_log

HEAT = (6.1, 2.4, 5.9, 0.0, 5.5, 4.0, 1.2, 6.4, 3.3, 5.0)


def summaries(stamp: str = "%Y-%m-%d", heads: str = "time,day_heat_kwh,day_pump_hours_h") -> str:
    rows = [heads]
    for number, kwh in enumerate(HEAT):
        day = date(2025, 6, 1) + timedelta(days=number)
        rows.append(f"{day.strftime(stamp)},{kwh},{kwh / 1.6:.1f}")
    return "\n".join(rows) + "\n"


def stateless(*texts: str) -> dict:
    site = parse_site(site_file())
    files = [LogSource(name=f"{n}.csv", data=text.encode()) for n, text in enumerate(texts)]
    parsed = read_logs(files, site=site)
    record = record_from_stamps(stamp_s=parsed.stamp_s, columns=parsed.columns, stamp=parsed.stamp)
    channels = frozenset(parsed.columns)
    table = observe(site=site, record=record, channels=channels)
    start_s, end_s = span_s(table)
    report = assess(
        site=site, table=table, start_s=start_s, end_s=end_s, until_s=int(NOON.timestamp()),
        channels=channels, rows=parsed.rows, rejected=parsed.rejected,
    )  # fmt: skip
    return report_json(report)


def report_of(back: BackEnd, slug: str) -> dict:
    with back.database.reading() as db:
        return report_json(latest_report(db, site_id=back.site_id(slug)))


@pytest.fixture
def back(tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path) as make:
        yield make()


@pytest.fixture
def client(back: BackEnd) -> Iterator[TestClient]:
    with TestClient(back.app(), base_url=LOCAL, follow_redirects=False) as client:
        yield client


@pytest.mark.parametrize("samples_first", [True, False])
def test_days_and_samples_in_any_order_give_what_the_command_gives(
    back: BackEnd, samples_first: bool
) -> None:
    samples = tidy_log(first=datetime(2025, 6, 3, tzinfo=UTC), hours=72)
    texts = [samples, summaries()] if samples_first else [summaries(), samples]
    slug = back.add_site()
    for number, text in enumerate(texts):
        back.hand_in(slug, text, f"{number}.csv")
        back.worker().work_all()
    found, wanted = report_of(back, slug), stateless(*texts)
    for part in ("from", "to", "basis", "days", "months", "totals", "findings", "savings"):
        assert found[part] == wanted[part], part
    assert found["days"][0]["delivered_kwh"] == HEAT[0]
    assert found["rows"]["kept"] == wanted["rows"]["kept"]


def test_days_alone_are_stored_reported_and_shown(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    back.hand_in(slug, summaries())
    back.worker().work_all()
    found = report_of(back, slug)
    assert found == stateless(summaries()) | {"rows": found["rows"]}
    assert found["basis"]["heat"] == "daily_summary"
    assert found["totals"]["delivered_kwh"] == pytest.approx(sum(HEAT))
    assert client.get(f"/sites/{slug}").status_code == 200
    series = client.get(
        f"/api/sites/{slug}/series", params={"from": "2025-06-01", "to": "2025-06-10"}
    ).json()
    assert [one for one in series["columns"]["day_heat"] if one is not None] == list(HEAT)


def test_rows_at_midnight_wait_until_somebody_says_which_day_they_are_of(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    heads = "Datum;Ertrag [kWh];Laufzeit Pumpe [h]"
    number = back.hand_in(slug, summaries("%d.%m.%Y 00:00", heads).replace(",", ";"))
    back.worker().work_all()
    page = client.get(f"/sites/{slug}/logs/{number}").text
    assert "of the day that ended, 31 May" in page
    assert "of the day that begins, 1 June" in page
    columns = {
        f"{part}-{place}": value
        for place, (head, channel) in enumerate(
            [("Ertrag [kWh]", "day_heat"), ("Laufzeit Pumpe [h]", "day_pump_hours")]
        )
        for part, value in (("key", head), ("channel", channel), ("unit", ""))
    }
    where = f"/sites/{slug}/logs/{number}"
    assert client.post(where, data={**columns, "do": "accept"}).status_code == 422
    assert client.post(where, data={**columns, "stamp": "end", "do": "accept"}).status_code == 303
    back.worker().work_all()
    with back.database.reading() as db:
        assert db.scalars(select(Upload.state)).all() == ["stored"]
    assert report_of(back, slug)["days"][0]["date"] == "2025-05-31"


def test_a_gateway_pushes_the_figure_of_a_day(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    key = {"Authorization": f"Bearer {back.add_key(slug)}"}
    for stamp, kwh in (("15:00:00", 2.5), ("23:00:00", 4.0)):
        rows = [{"time": f"2025-06-02T{stamp}+02:00", "day_heat_kwh": kwh, "t_ambient_c": 20.0}]
        answer = client.post(f"/api/sites/{slug}/rows", json={"rows": rows}, headers=key)
        told = {"accepted": 1, "new": 1, "changed": 1 if kwh == 4.0 else 0}
        assert answer.json() == {**told, "left_out": 0, "why": None}
    back.clock.move(hours=1)
    back.worker().work_all()
    (day,) = report_of(back, slug)["days"]
    assert (day["date"], day["delivered_kwh"]) == ("2025-06-02", 4.0)
