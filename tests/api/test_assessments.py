"""The worker's reports: the numbers of one pass over everything, however the rows arrived."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select
from starlette.testclient import TestClient

from analysis.assess import MARGIN_DAYS, METHOD, assess, observe
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource
from analysis.record import record_from_stamps
from analysis.results import Problem, RowCount, report_json
from analysis.sitefile import parse_site
from dashboards.known import match
from dashboards.short_report import short_report
from service.assessments import row_queries
from service.assessments.actions import came_back, runs
from service.assessments.queries import fleet, latest_report
from service.db.models import DayMark, DayNames, DayRow, FindingSeen, SiteReport
from service.ingest.laying import NEIGHBOUR_DAYS
from tests.build_report import a_finding
from tests.build_service import LOCAL, BackEnd, back_ends, site_file, tidy_log

LOG = tidy_log(hours=24 * 12)


@pytest.fixture(params=["sqlite", "postgres"])
def back(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path, request.param) as make:
        yield make()


def stateless(*texts: str, now: datetime) -> dict:
    """Give what one pass over all files says, as of a moment."""
    site = parse_site(site_file())
    files = [LogSource(name="log.csv", data=text.encode()) for text in texts]
    parsed = read_logs(files, site=site)
    record = record_from_stamps(stamp_s=parsed.stamp_s, columns=parsed.columns, stamp=parsed.stamp)
    channels = frozenset(parsed.columns)
    count = parsed.rows
    return report_json(
        assess(
            site=site,
            table=observe(site=site, record=record, channels=channels),
            start_s=int(record.start_s[0]),
            end_s=int(record.start_s[-1] + record.step_s[-1]),
            until_s=int(now.timestamp()),
            channels=channels,
            rows=RowCount(
                read=count.read,
                kept=count.kept,
                duplicate=count.duplicate,
                rejected=count.rejected,
            ),
            rejected=tuple(
                Problem(file=one.file, line=one.line, column=one.column, why=one.why)
                for one in parsed.rejected
            ),
        )
    )


def stored(back: BackEnd, slug: str) -> dict:
    with back.database.reading() as db:
        return db.get(SiteReport, back.site_id(slug)).report


def part(log: str, first: int, last: int) -> str:
    head, *lines = log.splitlines()
    return "\n".join([head, *lines[first:last]]) + "\n"


def test_the_report_is_that_of_one_pass(back: BackEnd) -> None:
    slug = back.add_site()
    back.hand_in(slug, LOG)
    back.worker().work_all()
    assert stored(back, slug) == stateless(LOG, now=back.clock.now())


def test_pieces_in_any_order_give_the_report_of_the_whole(back: BackEnd) -> None:
    slug = back.add_site()
    worker = back.worker()
    cuts = [(900, 1728), (0, 400), (380, 610), (600, 910)]
    for first, last in cuts:
        back.hand_in(slug, part(LOG, first, last))
        worker.work_all()
    whole = stateless(*(part(LOG, *cut) for cut in cuts), now=back.clock.now())
    assert stored(back, slug) == whole


def test_pushed_rows_give_the_report_of_the_file(back: BackEnd) -> None:
    from tests.api.test_gateway_rows import rows_of

    slug = back.add_site()
    key = back.add_key(slug)
    worker = back.worker()
    with TestClient(back.app(), base_url=LOCAL) as client:
        rows = rows_of(LOG)
        for first in (0, 600, 1200):
            client.post(
                f"/api/sites/{slug}/rows",
                json={"rows": rows[first : first + 600]},
                headers={"authorization": f"Bearer {key}"},
            )
            back.clock.move(minutes=2)
            worker.work_all()
        whole = stateless(LOG, now=back.clock.now())
        assert stored(back, slug)["days"] == whole["days"]
        assert stored(back, slug)["totals"] == whole["totals"]


def test_a_day_row_is_made_of_its_day_and_neighbours(back: BackEnd) -> None:
    assert NEIGHBOUR_DAYS == MARGIN_DAYS
    slug = back.add_site()
    worker = back.worker()
    back.hand_in(slug, LOG)
    worker.work_all()
    with back.database.session() as db:
        before = {one.date: (one.row, one.numbers) for one in db.scalars(select(DayRow))}
        db.add(
            DayMark(
                site_id=back.site_id(slug),
                date=datetime(2025, 6, 5, tzinfo=UTC).date(),
                due_at=back.clock.now(),
            )
        )
    worker.work_all()
    with back.database.reading() as db:
        assert {one.date: (one.row, one.numbers) for one in db.scalars(select(DayRow))} == before


def test_what_is_marked_while_the_analysis_runs_stays_marked(
    back: BackEnd, monkeypatch: pytest.MonkeyPatch
) -> None:
    from service.assessments import actions

    slug = back.add_site()
    back.hand_in(slug, LOG)
    worker = back.worker()
    worker.work_once()
    think = actions._think

    def meanwhile(seen, *, now):
        back.hand_in(slug, tidy_log(first=datetime(2025, 6, 4, tzinfo=UTC), hours=12, seed=5))
        back.worker().work_once()
        return think(seen, now=now)

    with monkeypatch.context() as patch:
        patch.setattr(actions, "_think", meanwhile)
        worker.work_once()
    with back.database.reading() as db:
        days = sorted(map(str, db.scalars(select(DayMark.date))))
    assert days == ["2025-06-03", "2025-06-04", "2025-06-05"]
    worker.work_all()
    second = tidy_log(first=datetime(2025, 6, 4, tzinfo=UTC), hours=12, seed=5)
    whole = stateless(LOG, second, now=back.clock.now())
    assert stored(back, slug)["days"] == whole["days"]


def test_another_method_has_every_day_looked_at_again(back: BackEnd) -> None:
    slug = back.add_site()
    back.hand_in(slug, LOG)
    worker = back.worker()
    worker.work_all()
    whole = stored(back, slug)
    with back.database.session() as db:
        for row in db.scalars(select(DayRow)):
            row.method, row.row, row.numbers = "0", {**row.row, "names": "", "values": ""}, None
        db.get(SiteReport, back.site_id(slug)).method = "0"
    assert worker.work_all() == 1
    assert stored(back, slug) == whole
    with back.database.reading() as db:
        assert set(db.scalars(select(DayRow.method))) == {METHOD}


def lose_names(back: BackEnd, monkeypatch: pytest.MonkeyPatch) -> str:
    """Lose what the days' numbers are called, for a process that has not read it yet."""
    monkeypatch.setattr(row_queries, "_KNOWN", {})
    with back.database.session() as db:
        lost = db.scalars(select(DayNames)).one()
        db.delete(lost)
        return lost.names


def mark(back: BackEnd, slug: str, day: date) -> None:
    with back.database.session() as db:
        db.add(DayMark(site_id=back.site_id(slug), date=day, due_at=back.clock.now()))


def test_days_that_cannot_be_read_are_worked_out_anew(
    back: BackEnd, monkeypatch: pytest.MonkeyPatch
) -> None:
    slug = back.add_site()
    back.hand_in(slug, LOG)
    back.worker().work_all()
    whole = stored(back, slug)
    lose_names(back, monkeypatch)
    mark(back, slug, date(2025, 6, 5))
    with back.database.session() as db:
        # Under other names, as with a channel more: they come back with no other day's.
        row = db.get_one(DayRow, (back.site_id(slug), date(2025, 6, 8)))
        row.row = {**row.row, "names": "lost"}
    with back.database.reading() as db:
        assert row_queries.unreadable_days(db) == [("Mill Lane 4", False, len(whole["days"]))]
    assert back.worker().work_all() == 1
    assert stored(back, slug) == whole
    with back.database.reading() as db:
        assert row_queries.unreadable_days(db) == []
        assert db.scalars(select(DayMark)).all() == []


def test_figures_that_stand_and_cannot_be_read_wait_for_their_names(
    back: BackEnd, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Their samples are not all there, so nothing is worked out in their place."""
    slug = back.add_site()
    back.hand_in(slug, LOG)
    back.worker().work_all()
    whole = stored(back, slug)

    def rows() -> dict[date, tuple]:
        with back.database.reading() as db:
            return {
                one.date: (one.row, one.numbers, one.held) for one in db.scalars(select(DayRow))
            }

    with back.database.session() as db:
        key = db.scalars(select(DayNames.key)).one()
        for row in db.scalars(select(DayRow)):
            row.held = True
    standing = rows()
    names = lose_names(back, monkeypatch)
    mark(back, slug, date(2025, 6, 5))
    assert back.worker().work_all() == 1
    with back.database.session() as db:
        assert db.get(SiteReport, back.site_id(slug)) is None
        assert row_queries.unreadable_days(db) == [("Mill Lane 4", True, len(standing))]
        # All but one become readable, as when a day of the same channels is looked at.
        db.add(DayNames(key=key, names=names))
        row = db.get_one(DayRow, (back.site_id(slug), date(2025, 6, 8)))
        row.row = {**row.row, "names": "lost"}
    mark(back, slug, date(2025, 6, 5))
    back.worker().work_all()
    delivered = {one["date"]: one["delivered_kwh"] for one in stored(back, slug)["days"]}
    known = {one["date"]: one["delivered_kwh"] for one in whole["days"]}
    assert delivered == {**known, "2025-06-08": None}
    with back.database.session() as db:
        db.add(DayNames(key="lost", names=names))
    mark(back, slug, date(2025, 6, 5))
    back.worker().work_all()
    assert stored(back, slug) == whole
    assert rows().keys() == standing.keys()


def test_the_fleet_shows_every_site_with_its_state(back: BackEnd) -> None:
    done, waiting = back.add_site("Done"), back.add_site("Waiting")
    back.add_site("Empty")
    back.hand_in(done, LOG)
    worker = back.worker()
    worker.work_all()
    back.hand_in(waiting, tidy_log(seed=3))
    with back.database.reading() as db:
        entries = {one.site.name: one for one in fleet(db, firm_id=back.firm_id)}
        whole = fleet(db, firm_id=back.firm_id, whole=True)
        report = latest_report(db, site_id=back.site_id(done))
    assert report is not None
    assert [one.report for one in whole] == [report, None, None]
    assert list(entries) == ["Done", "Empty", "Waiting"]
    assert entries["Done"].report == short_report(report)
    assert entries["Done"].data_until_s == int(datetime(2025, 6, 13, tzinfo=UTC).timestamp())
    assert [entries[name].pending for name in entries] == [None, None, "reading"]
    assert entries["Empty"].report is None


def test_findings_are_remembered_once_with_the_moment_they_were_seen_first(
    back: BackEnd,
) -> None:
    slug = back.add_site()
    worker = back.worker()
    # The loop stands still under the sun although the pump runs: no flow from the third day on.
    lines = LOG.splitlines()
    place = lines[0].split(",").index("flow_l_min")
    still = [
        ",".join("0" if n == place else cell for n, cell in enumerate(line.split(",")))
        for line in lines[1 + 3 * 144 :]
    ]
    back.hand_in(slug, "\n".join([*lines[: 1 + 3 * 144], *still]))
    worker.work_all()
    found = stored(back, slug)["findings"]
    with back.database.reading() as db:
        first = {one.key: one.first_seen_at for one in db.scalars(select(FindingSeen))}
    assert found
    assert len(first) == len(found)
    assert set(first.values()) == {back.clock.now()}
    back.clock.move(hours=8)
    worker.work_all()
    with back.database.reading() as db:
        later = {one.key: one.first_seen_at for one in db.scalars(select(FindingSeen))}
    assert {key: later[key] for key in first} == first


def test_a_finding_whose_start_moved_keeps_its_history(back: BackEnd) -> None:
    slug = back.add_site()
    back.hand_in(slug, LOG)
    back.worker().work_all()
    with back.database.reading() as db:
        report = latest_report(db, site_id=back.site_id(slug))
    from dataclasses import replace

    from analysis.results import Finding

    day_s = 86_400
    finding = Finding(
        kind="lost_circulation",
        start_s=report.start_s,
        end_s=None,
        urgency="visit",
        certainty=0.9,
        channel=None,
        lost=None,
        summary="",
        evidence=(),
        likely_causes=(),
        check_next=(),
        cautions=(),
    )
    (new,) = match([finding], [])
    assert new.before is None
    seen = FindingSeen(
        site_id=1,
        key=new.key,
        kind=finding.kind,
        channel=None,
        start_s=finding.start_s,
        first_seen_at=back.clock.now(),
    )
    assert match([replace(finding, start_s=finding.start_s - 3 * day_s)], [seen])[0].before is seen
    assert match([replace(finding, start_s=finding.start_s + 40 * day_s)], [seen])[0].before is seen
    late = replace(finding, start_s=finding.start_s + 100 * day_s)
    assert match([late], [seen])[0].before is None
    assert match([replace(finding, kind="silence")], [seen])[0].before is None


def test_what_came_back_since_its_mail_may_be_mailed_again() -> None:
    mailed = datetime(2025, 6, 10, tzinfo=UTC)

    def gone_until(day: int) -> bool:
        there = int(datetime(2025, 6, day, tzinfo=UTC).timestamp())
        back_again = a_finding(end_s=None, breaks=((there - 86_400, there),))
        return came_back(back_again, mailed)

    assert gone_until(12)
    assert not gone_until(8)
    assert not came_back(a_finding(end_s=None), mailed)
    assert not came_back(a_finding(end_s=None, breaks=((0, 1),)), None)


def test_days_are_taken_in_runs() -> None:
    first = datetime(2025, 6, 1, tzinfo=UTC).date()
    days = [first + timedelta(days=number) for number in (0, 1, 2, 5, 9, 10)]
    assert [(a.day, b.day) for a, b in runs(days)] == [(1, 3), (6, 6), (10, 11)]
    assert list(runs([])) == []
    years = [first + timedelta(days=number) for number in range(1000)]
    assert [(b - a).days + 1 for a, b in runs(years)] == [400, 400, 200]


def test_series_for_plots_are_those_of_the_log(back: BackEnd) -> None:
    slug = back.add_site()
    back.hand_in(slug, LOG)
    back.worker().work_all()
    with TestClient(back.app(), base_url=LOCAL) as client:
        path = f"/api/sites/{slug}/series"
        day = client.get(
            path, params={"from": "2025-06-05", "to": "2025-06-05", "channels": "collector,flow"}
        ).json()
        assert list(day["columns"]) == ["collector", "flow"]
        assert day["start_s"][0] == int(datetime(2025, 6, 4, 22, tzinfo=UTC).timestamp())
        assert len(day["start_s"]) == 144
        row = LOG.splitlines()[1 + (4 * 144 - 12)].split(",")
        assert day["columns"]["collector"][0] == float(row[1])
        whole = client.get(
            path, params={"from": "2025-06-01T00:00:00Z", "to": "2025-06-13", "points": 100}
        ).json()
        assert whole["reduced"]
        peak = max(float(line.split(",")[1]) for line in LOG.splitlines()[1:])
        assert max(v for v in whole["columns"]["collector"] if v is not None) == peak
        bad = client.get(path, params={"from": "noon", "to": "2025-06-13"})
        assert (bad.status_code, bad.json()["field"]) == (422, "from")
        none = client.get(path, params={"from": "2020-01-01", "to": "2020-01-02"}).json()
        assert none["start_s"] == []
