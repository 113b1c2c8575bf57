"""Two loggers whose stamps never meet: command, uploads and gateway give the heat of one log."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from analysis.assess import assess, observe
from analysis.days import span_s
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource
from analysis.record import record_from_stamps
from analysis.results import Report, report_from_json
from analysis.sitefile import parse_site
from service.db.models import SiteReport
from tests.api.test_gateway_rows import push, rows_of
from tests.build_service import LOCAL, BackEnd, back_ends, site_file, tidy_log

DAY = datetime(2025, 6, 1, tzinfo=UTC)
METER = frozenset({"flow_l_min", "pump_percent"})
WHOLE = tidy_log(first=DAY, hours=48)
ROOF_HEADS = frozenset(WHOLE.split("\n", 1)[0].split(",")[1:]) - METER
ROOF = tidy_log(first=DAY, hours=48, without=METER)
FLOW = tidy_log(first=DAY + timedelta(seconds=97), hours=48, without=ROOF_HEADS)


@pytest.fixture
def back(tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path) as make:
        yield make(push_settle_s=0)


def by_command(*texts: str) -> Report:
    site = parse_site(site_file())
    parsed = read_logs(
        [LogSource(name=f"{n}.csv", data=text.encode()) for n, text in enumerate(texts)], site=site
    )
    record = record_from_stamps(stamp_s=parsed.stamp_s, columns=parsed.columns, stamp=parsed.stamp)
    channels = frozenset(parsed.columns)
    table = observe(site=site, record=record, channels=channels)
    span = span_s(table)
    assert span is not None
    return assess(
        site=site, table=table, start_s=span[0], end_s=span[1], until_s=span[1],
        channels=channels, rows=parsed.rows, rejected=(),
    )  # fmt: skip


def worked_out(back: BackEnd, slug: str) -> Report:
    worker = back.worker()
    while worker.work_once():
        pass
    with back.database.reading() as db:
        saved = db.get(SiteReport, back.site_id(slug))
        assert saved is not None
        return report_from_json(saved.report)


def heat(report: Report) -> list[float]:
    return [round(day.delivered_kwh or 0.0, 3) for day in report.days]


def test_uploads_and_pushes_give_the_heat_that_the_command_gives(back: BackEnd) -> None:
    told = by_command(ROOF, FLOW)
    assert told.totals.delivered_kwh == pytest.approx(
        by_command(WHOLE).totals.delivered_kwh, rel=0.02
    )
    assert told.totals.coverage == pytest.approx(1.0, abs=0.03)
    uploads = back.add_site("Two loggers")
    for name, text in (("roof.csv", ROOF), ("meter.csv", FLOW)):
        back.hand_in(uploads, text, name)
    assert heat(worked_out(back, uploads)) == heat(told)


def test_a_gateway_that_sends_each_logger_by_itself_gives_it_too(back: BackEnd) -> None:
    slug = back.add_site()
    key = back.add_key(slug)
    with TestClient(back.app(), base_url=LOCAL) as client:
        roof, meter = rows_of(ROOF), rows_of(FLOW)
        for first in range(0, len(roof), 96):
            assert push(client, slug, key, roof[first : first + 96]).status_code == 200
            assert push(client, slug, key, meter[first : first + 96]).status_code == 200
    assert heat(worked_out(back, slug)) == heat(by_command(ROOF, FLOW))
