"""Old rows become five-minute means or go, old files go; what the days showed stays."""

import csv
import io
import threading
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import delete, func, select, update
from starlette.testclient import TestClient

from service.assessments import row_queries
from service.cli import main
from service.db.models import (
    DayBlock,
    DayLayer,
    DayMark,
    DayNames,
    DayRow,
    RolledDay,
    SiteReport,
    Upload,
)
from service.errors import ConflictError
from service.ingest import actions as ingest_actions
from service.ingest.blocks import decode
from service.ingest.files import RawStore
from service.ingest.queries import load_record, load_rows, rows_counted
from service.retention import actions, nightly
from service.settings import Settings
from tests.build_service import LOCAL, BackEnd, back_ends, site_file, tidy_log

FIRST = datetime(2025, 6, 1, tzinfo=UTC)
LOG = tidy_log(first=FIRST, hours=96, step_s=60)
PEAK_C = 231.5
HELD = "rows rolled up or removed since"
HIGHEST = "t_collector_c, highest of the hour"
DAYS = [date(2025, 6, number) for number in (1, 2, 3, 4)]


def with_peak(text: str) -> str:
    """Let the collector be hot for one minute of the second day."""
    lines = text.split("\n")
    place = next(n for n, line in enumerate(lines) if line.startswith("2025-06-02T11:02:00Z"))
    cells = lines[place].split(",")
    cells[1] = f"{PEAK_C:.3f}"
    lines[place] = ",".join(cells)
    return "\n".join(lines)


@pytest.fixture(params=["sqlite", "postgres"])
def back(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path, request.param) as make:
        yield make(keep_full_years=2, keep_samples_years=5, keep_files_years=4)


@pytest.fixture
def slug(back: BackEnd) -> str:
    slug = back.add_site()
    back.hand_in(slug, with_peak(LOG))
    back.worker().work_all()
    return slug


@pytest.fixture
def client(back: BackEnd) -> Iterator[TestClient]:
    with TestClient(back.app(), base_url=LOCAL, headers={"accept": "text/html"}) as client:
        yield client


def begun(back: BackEnd) -> actions.Pass:
    limits = actions.limits_of(back.settings, now=back.clock.now())
    raw = RawStore(back.settings.data_dir)
    return actions.Pass.begun(back.database, raw=raw, clock=back.clock, limits=limits)


def run(back: BackEnd, years: float) -> actions.Pass:
    """Let years pass, and a night."""
    back.clock.move(days=years * 365.25)
    one = begun(back)
    while one.piece():
        pass
    assert one.failed == 0
    return one


def facts(back: BackEnd) -> dict[str, object]:
    """Give what has to stay: what each day showed, and the report but for its own age."""
    with back.database.reading() as db:
        report = db.scalar(select(SiteReport.report))
        assert report is not None
        return {
            "rows": {one.date: (one.row, one.numbers) for one in db.scalars(select(DayRow))},
            "days": report["days"],
            "counts": report["rows"],
        }


def blocks(back: BackEnd) -> dict[date, int]:
    with back.database.reading() as db:
        return dict(map(tuple, db.execute(select(DayBlock.day, DayBlock.rows))))


def refreshed(back: BackEnd) -> None:
    """Have everything marked, as a new method does, and analysed anew."""
    with back.database.session() as db:
        db.execute(update(SiteReport).values(method="an older one"))
        db.execute(update(DayRow).values(method="an older one"))
    back.worker().work_all()


def test_nothing_becomes_of_anything_unless_it_is_set(tmp_path):
    with back_ends(tmp_path) as make:
        back = make()
        back.hand_in(back.add_site(), LOG)
        back.worker().work_all()
        before = blocks(back)
        assert run(back, 50).done == 0
        assert blocks(back) == before
        with TestClient(back.app(), base_url=LOCAL, headers={"accept": "text/html"}) as client:
            page = client.get("/operation?due=true").text
        assert "Rows are kept as they came for ever" in page
        assert "due now" not in page


def test_old_days_become_means_and_no_peak_is_lost(back, slug):
    before = facts(back)
    with back.database.reading() as db:
        counted = rows_counted(db, back.site_id(slug))
        whole = load_rows(db, site_id=back.site_id(slug), start_s=0, end_s=2**31)
    assert run(back, 1).done == 0  # not old yet
    assert run(back, 2).done == 4
    assert {day: rows <= 289 for day, rows in blocks(back).items()} == dict.fromkeys(
        [*DAYS, date(2025, 6, 5)], True
    )
    assert facts(back) == before
    start_s = int(FIRST.timestamp())
    with back.database.reading() as db:
        site_id = back.site_id(slug)
        assert rows_counted(db, site_id) == counted
        means = load_rows(db, site_id=site_id, start_s=0, end_s=2**31)
        shown = load_record(
            db, site_id=site_id, start_s=start_s, end_s=start_s + 4 * 86_400, extremes=True
        )
    assert means.columns["collector"].max() < PEAK_C
    assert shown.columns["collector"].max() == PEAK_C
    for name, values in whole.columns.items():
        assert np.nanmin(shown.columns[name]) == np.nanmin(values), name
        assert np.mean(means.columns[name]) == pytest.approx(np.mean(values), rel=0.01), name


def test_a_second_night_finds_nothing_to_do(back, slug):
    run(back, 3)
    with back.database.reading() as db:
        before = list(map(tuple, db.execute(select(DayBlock.day, DayBlock.data))))
    assert run(back, 0.01).done == 0
    with back.database.reading() as db:
        assert list(map(tuple, db.execute(select(DayBlock.day, DayBlock.data)))) == before


def test_whoever_dies_between_two_days_leaves_each_as_it_was_or_done(back, slug, monkeypatch):
    back.clock.move(days=3 * 365.25)
    one, calls = begun(back), []
    real = actions._rolled

    def dies(*given):
        calls.append(given)
        if len(calls) == 3:
            raise KeyboardInterrupt
        return real(*given)

    monkeypatch.setattr(actions, "_rolled", dies)
    with pytest.raises(KeyboardInterrupt):
        one.piece()
    with back.database.reading() as db:
        rolled = set(db.scalars(select(RolledDay.day)))
        held = set(db.scalars(select(DayRow.date).where(DayRow.held)))
    assert rolled == {*DAYS[:2]}
    assert {day for day, rows in blocks(back).items() if rows > 300} == {*DAYS[2:]}
    assert held <= {date(2025, 6, 1), date(2025, 6, 2), date(2025, 6, 3)}
    monkeypatch.undo()
    assert run(back, 0).done == 2


def test_two_workers_at_once_do_each_day_once(back, slug):
    back.clock.move(days=3 * 365.25)
    passes = [begun(back), begun(back)]
    threads = [threading.Thread(target=one.piece) for one in passes]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [one.failed for one in passes] == [0, 0]
    assert sum(one.done for one in passes) == 4
    with back.database.reading() as db:
        rows = dict(map(tuple, db.execute(select(RolledDay.day, RolledDay.rows))))
    # Means of means would say that the day had no more rows than they.
    assert rows == {DAYS[0]: 1439, **dict.fromkeys(DAYS[1:], 1440)}


def test_a_day_that_fails_keeps_no_other_from_its_turn(back, slug, monkeypatch):
    back.clock.move(days=3 * 365.25)
    with back.database.session() as db:
        db.execute(update(DayBlock).where(DayBlock.day == DAYS[0]).values(data=b"damaged"))
    one = begun(back)
    one.piece()
    assert (one.done, one.failed) == (3, 1)


def test_days_that_nobody_has_looked_at_yet_are_left_alone(back, slug):
    back.clock.move(days=3 * 365.25)
    with back.database.session() as db:
        mark = DayMark(site_id=back.site_id(slug), date=DAYS[3], due_at=back.clock.now())
        db.add(mark)
    assert run(back, 0).done == 0
    back.worker().work_all()
    assert run(back, 0).done == 4


def test_a_new_method_leaves_rolled_up_days_and_comes_to_an_end(back, slug):
    before = facts(back)
    run(back, 3)
    refreshed(back)
    assert facts(back) == before
    with back.database.reading() as db:
        assert db.scalar(select(func.count()).select_from(DayMark)) == 0
        methods = dict(map(tuple, db.execute(select(DayRow.date, DayRow.method))))
    assert {methods[day] for day in DAYS} == {"an older one"}
    assert not back.worker().work_once()  # it is not analysed over and over


def test_rows_of_closed_days_are_left_out_and_it_is_said(back, slug):
    run(back, 3)
    before = blocks(back)
    # One day of it is closed, the next was never logged.
    first = FIRST + timedelta(days=4)
    number = back.hand_in(
        slug, tidy_log(first=first - timedelta(days=1), hours=72, step_s=60, seed=9), "late.csv"
    )
    back.worker().work_all()
    with back.database.reading() as db:
        upload = db.get(Upload, number)
        assert upload.state == "stored"
        assert "1,439 rows were left out" in upload.message
        assert upload.rows_rejected == 1439
        assert upload.rows_kept == 2 * 1440
        days = db.scalar(select(SiteReport.report))["days"]
    assert {day: blocks(back)[day] for day in DAYS} == {day: before[day] for day in DAYS}
    # The day after the closed ones counts with all its rows.
    assert next(one for one in days if one["date"] == "2025-06-05")["coverage"] > 0.95


def test_a_gateways_rows_of_closed_days_are_taken_and_left_out(back, slug, client):
    run(back, 3)
    before = blocks(back)
    key = back.add_key(slug)
    rows = [
        {"time": "2025-06-02T12:00:00Z", "t_collector_c": 61.5, "t_store_top_c": 50.0},
        {"time": "2025-06-02T12:01:00Z", "t_collector_c": 61.5, "t_store_top_c": 50.0},
    ]
    for sent, taken in ((rows, 0), ([*rows, {**rows[0], "time": "2025-06-05T12:00:00Z"}], 1)):
        answer = client.post(
            f"/api/sites/{slug}/rows",
            json={"rows": sent},
            headers={"authorization": f"Bearer {key}", "accept": "application/json"},
        )
        told = answer.json()
        # Settled, so that no gateway sends them for ever.
        assert answer.status_code == 200
        assert "2 rows were left out: of their days only five-minute means" in told.pop("why")
        assert told == {"accepted": taken, "new": taken, "changed": 0, "left_out": 2}
    assert {day: blocks(back)[day] for day in DAYS} == {day: before[day] for day in DAYS}
    uploads = client.get(f"/api/sites/{slug}/uploads", headers={"accept": "application/json"})
    pushed = uploads.json()["uploads"][0]
    assert pushed["rows"] == {"read": 5, "kept": 1, "duplicate": 0, "rejected": 4}
    assert "4 rows were left out" in pushed["message"]
    assert "4 rows were left out" in client.get(f"/sites/{slug}/logs").text


def test_days_that_a_clock_far_ahead_had_rolled_up_are_closed_once_it_is_set_back(
    back, slug, client
):
    right = back.clock.moment
    run(back, 3)
    back.clock.moment = right
    before = blocks(back)
    row = {"time": "2025-06-03T12:00:30Z", "t_collector_c": 61.5}
    answer = client.post(
        f"/api/sites/{slug}/rows",
        json={"rows": [row, {**row, "time": "2025-06-06T12:00:00Z"}]},
        headers={"authorization": f"Bearer {back.add_key(slug)}"},
    )
    assert (answer.json()["accepted"], answer.json()["left_out"]) == (1, 1)
    late = tidy_log(first=FIRST + timedelta(days=3), hours=48, step_s=60, seed=9)
    number = back.hand_in(slug, late, "late.csv")
    back.worker().work_all()
    with back.database.reading() as db:
        assert "1,439 rows were left out" in db.get_one(Upload, number).message
        days = {one["date"]: one for one in db.scalar(select(SiteReport.report))["days"]}
    assert {day: blocks(back)[day] for day in DAYS} == {day: before[day] for day in DAYS}
    # The local day after borders on a closed one, and had stood since.
    assert days["2025-06-05"]["coverage"] > 0.9


def test_the_figure_of_a_closed_day_is_left_out_and_the_rest_of_its_row_is_taken(back, client):
    slug = back.add_site(text=site_file().replace("Europe/Berlin", "America/Los_Angeles"))
    back.hand_in(slug, LOG)
    back.worker().work_all()
    run(back, 3)
    # Sent at midnight: the figure is that of the 4th, the row is of the 5th by UTC.
    row = {"time": "2025-06-05T07:00:00Z", "day_heat_kwh": 4.0, "t_ambient_c": 20.0}
    answer = client.post(
        f"/api/sites/{slug}/rows",
        json={"rows": [row]},
        headers={"authorization": f"Bearer {back.add_key(slug)}"},
    )
    told = answer.json()
    assert "1 row was left out" in told.pop("why")
    assert told == {"accepted": 1, "new": 1, "changed": 0, "left_out": 1}


def test_a_file_of_closed_days_cannot_be_undone_and_a_new_map_leaves_it(back, slug):
    run(back, 3)
    with back.database.session() as db, pytest.raises(ConflictError, match="five-minute means"):
        ingest_actions.undo_upload(
            db, site_id=back.site_id(slug), upload_id=1, now=back.clock.now()
        )
    with back.database.session() as db:
        from service.db.models import Site

        site, upload = db.get(Site, back.site_id(slug)), db.get(Upload, 1)
        assert ingest_actions.read_again(db, site=site, uploads=[upload], now=NOW) == 0
        assert upload.state == "stored"


def test_a_page_offers_no_undoing_of_a_file_of_closed_days_and_says_why(back, slug, client):
    # A row every ten minutes is fewer than five-minute means: such days are never rolled up.
    coarse = {"first": FIRST + timedelta(days=10), "hours": 24}
    own = back.hand_in(slug, tidy_log(**coarse), "coarse.csv")
    back.worker().work_all()
    other = back.add_site("Another")
    back.hand_in(other, tidy_log(**coarse, seed=5))
    back.worker().work_all()
    offered = [f"/sites/{slug}/logs/{number}/undo" for number in (1, own)]

    def undoing(path: str) -> tuple[list[bool], bool]:
        page = client.get(path).text
        return [one in page for one in offered], "cannot be told from the others" in page

    for path in (f"/sites/{slug}/logs", f"/sites/{slug}"):
        assert undoing(path) == ([True, True], False)
    run(back, 3)
    for path in (f"/sites/{slug}/logs", f"/sites/{slug}"):
        assert undoing(path) == ([False, True], True)
    assert "It cannot be undone" not in client.get(f"/sites/{other}/logs").text
    for number, status in ((1, 409), (own, 303)):
        answer = client.post(f"/sites/{slug}/logs/{number}/undo", follow_redirects=False)
        assert answer.status_code == status


NOW = datetime(2028, 7, 1, tzinfo=UTC)


def test_layers_of_a_rolled_up_day_keep_their_account_and_lose_their_bytes(back, slug):
    back.hand_in(slug, tidy_log(first=FIRST, hours=48, step_s=60, seed=4), "other.csv")
    back.worker().work_all()
    run(back, 3)
    with back.database.reading() as db:
        layers = select(DayLayer.upload_id, DayLayer.rows, DayLayer.data, DayLayer.replaced)
        found = list(db.execute(layers.where(DayLayer.day == DAYS[0])))
    assert [(one.upload_id, one.data) for one in found] == [(1, None), (2, None)]
    assert found[0].replaced == {"2": 1439}


def test_older_still_is_removed_and_what_the_days_showed_stays(back, slug):
    before = facts(back)
    run(back, 3)
    assert run(back, 3).done == 4 + 1 + 1  # five days, one of a single row, and the file
    assert blocks(back) == {}
    back.worker().work_all()
    assert facts(back) == before
    with back.database.reading() as db:
        kinds = set(db.scalars(select(RolledDay.kind)))
        left = list(db.scalars(select(RolledDay.extremes).where(RolledDay.extremes.is_not(None))))
    assert (kinds, left) == ({"gone"}, [])


@pytest.mark.parametrize("zone", ["America/Los_Angeles", "Pacific/Auckland", "Europe/Berlin"])
def test_late_rows_beside_a_removed_day_do_not_take_away_what_a_local_day_showed(back, zone):
    text = site_file().replace("Europe/Berlin", zone)
    slug = back.add_site(text=text)
    log = tidy_log(first=FIRST + timedelta(days=2), hours=48, step_s=60, seed=9)
    back.hand_in(slug, LOG)
    back.worker().work_all()
    first = {one["date"]: one for one in facts(back)["days"]}
    back.clock.move(days=3 * 365)
    limits = actions.Limits(means_before=None, gone_before=DAYS[2], files_before=None)
    raw = RawStore(back.settings.data_dir)
    one = actions.Pass.begun(back.database, raw=raw, clock=back.clock, limits=limits)
    assert not one.piece()
    assert one.done == 2
    back.hand_in(slug, log, "corrected.csv")
    back.worker().work_all()
    then = {one["date"]: one for one in facts(back)["days"]}
    assert {day: one["coverage"] for day, one in then.items()} == {
        day: one["coverage"] for day, one in first.items()
    }
    # The day that is all there is seen as the new file has it.
    whole = "2025-06-03" if zone == "America/Los_Angeles" else "2025-06-04"
    assert then[whole]["delivered_kwh"] != first[whole]["delivered_kwh"]


def test_a_row_that_cannot_be_read_stands_beside_a_removed_day(back, monkeypatch):
    slug = back.add_site(text=site_file().replace("Europe/Berlin", "America/Los_Angeles"))
    back.hand_in(slug, LOG)
    back.worker().work_all()
    back.clock.move(days=3 * 365)
    limits = actions.Limits(means_before=None, gone_before=DAYS[2], files_before=None)
    raw = RawStore(back.settings.data_dir)
    assert not actions.Pass.begun(back.database, raw=raw, clock=back.clock, limits=limits).piece()
    before = facts(back)["rows"]
    with back.database.session() as db:
        db.execute(delete(DayNames))
    monkeypatch.setattr(row_queries, "_KNOWN", {})
    log = tidy_log(first=FIRST + timedelta(days=2), hours=48, step_s=60, seed=9)
    back.hand_in(slug, log, "corrected.csv")
    back.worker().work_all()
    after = facts(back)["rows"]
    # The local day of the 2nd lies mostly on the removed day; that of the 3rd is looked at again.
    assert after[DAYS[1]] == before[DAYS[1]]
    assert after[DAYS[2]] != before[DAYS[2]]


def test_a_day_that_was_mostly_unknown_beside_a_removed_one_is_looked_at(back, slug):
    """Of the local day after the removed ones two hours were logged; now comes the rest."""
    back.clock.move(days=3 * 365)
    limits = actions.Limits(means_before=None, gone_before=date(2025, 6, 5), files_before=None)
    raw = RawStore(back.settings.data_dir)
    one = actions.Pass.begun(back.database, raw=raw, clock=back.clock, limits=limits)
    assert not one.piece()
    late = tidy_log(first=FIRST + timedelta(days=4), hours=24, step_s=60, seed=9)
    back.hand_in(slug, late, "late.csv")
    back.worker().work_all()
    days = {one["date"]: one["coverage"] for one in facts(back)["days"]}
    assert days["2025-06-05"] > 0.9


def test_a_file_goes_and_its_name_hash_and_rows_stay(back, slug, client):
    with back.database.reading() as db:
        sha256 = db.scalar(select(Upload.sha256))
    path = RawStore(back.settings.data_dir).path(sha256)
    assert path.exists()
    run(back, 4.1)
    assert not path.exists()
    with back.database.reading() as db:
        upload = db.get(Upload, 1)
        assert (upload.sha256, upload.rows_read) == (sha256, 4 * 1440)
    page = client.get(f"/sites/{slug}/logs").text
    assert "The file itself was removed for its age" in page
    assert sha256 in page
    assert client.get(f"/api/sites/{slug}/uploads/1/set-aside.csv").status_code == 404


def raw_path(back: BackEnd, number: int = 1) -> Path:
    with back.database.reading() as db:
        return RawStore(back.settings.data_dir).path(db.get_one(Upload, number).sha256)


def test_a_file_that_comes_again_after_it_went_is_as_old_as_its_coming_again(back, slug, client):
    path = raw_path(back)
    run(back, 4.1)
    assert not path.exists()
    back.hand_in(slug, with_peak(LOG))
    run(back, 3.9)
    assert path.exists()
    said = "It was handed in before, on 20 June 2025, and removed for its age on 27 July 2029."
    assert said in client.get(f"/sites/{slug}/logs").text
    run(back, 0.2)
    assert not path.exists()
    assert path == raw_path(back)


def test_a_file_that_is_known_already_is_as_old_as_it_was(back, slug):
    path = raw_path(back)
    run(back, 3.9)
    back.hand_in(slug, with_peak(LOG))
    run(back, 0.2)
    assert not path.exists()


def test_a_file_that_was_refused_years_ago_and_is_tried_again_is_new(back, slug):
    number = back.hand_in(slug, "no log at all", "other.csv")
    back.worker().work_all()
    path = raw_path(back, number)
    run(back, 3.9)
    back.hand_in(slug, "no log at all", "other.csv")
    back.worker().work_all()
    run(back, 0.2)
    assert path.exists()
    run(back, 4)
    assert not path.exists()


def test_bytes_that_another_site_needs_stay(back, slug):
    other = back.site_id(back.add_site("Other"))
    with back.database.session() as db:
        first = db.get(Upload, 1)
        kept = {"name": first.name, "size_bytes": 1, "via": "api", "state": "refused"}
        db.add(
            Upload(
                site_id=other,
                sha256=first.sha256,
                received_at=back.clock.now() + timedelta(days=1000),
                **kept,
            )
        )
        sha256 = first.sha256
    run(back, 4.1)
    assert RawStore(back.settings.data_dir).path(sha256).exists()


def test_the_pages_say_what_is_set_what_is_done_and_from_when_on(back, slug, client):
    back.clock.move(days=3 * 365.25)
    operation = client.get("/operation").text
    assert "Rows are kept as they came for 2 years" in operation
    assert "So far" not in operation
    assert "to be rolled up" not in operation
    due = client.get("/operation?due=true").text
    assert "to be rolled up: 4 days of 5,759 rows" in due
    assert "log files to be removed: 0" in due
    assert "data-rolled" not in client.get(f"/sites/{slug}").text
    run(back, 0)
    then = client.get("/operation?due=true").text
    assert "So far rolled up: 4 days of rows; removed: 0." in then
    assert "to be rolled up: 0 days" in then
    page = client.get(f"/sites/{slug}").text
    assert "until 4 June 2025 are kept as five-minute means" in page
    assert "until 4 June 2025 are kept" in client.get(f"/sites/{slug}/report.html").text
    assert client.get(f"/sites/{slug}/day/2025-06-02").status_code == 200
    series = client.get(f"/api/sites/{slug}/series?from=2025-06-02&to=2025-06-02").json()
    assert max(one for one in series["columns"]["collector"] if one is not None) == PEAK_C


def test_the_export_says_which_rows_are_means(back, slug, client):
    address = f"/api/sites/{slug}/export?what=readings&format=csv"
    assert "mean of [s]" not in client.get(address).text.splitlines()[0]
    run(back, 3)
    rows = list(csv.DictReader(io.StringIO(client.get(address).text.removeprefix("\ufeff"))))
    told = [one for one in rows if one["mean of [s]"]]
    assert len(rows) - len(told) == 1  # the lone row of the day after
    assert {float(one["mean of [s]"]) for one in told} == {300.0}
    days = client.get(address.replace("readings", "days")).text.removeprefix("\ufeff")
    told_days = {one["date"]: one[HELD] for one in csv.DictReader(io.StringIO(days))}
    assert [told_days[f"{day}"] for day in DAYS] == ["yes"] * 4
    assert max(float(one[HIGHEST]) for one in told if one[HIGHEST]) == PEAK_C


def test_the_bundle_lists_what_was_removed_and_rolled_up(back, slug, client, tmp_path):
    import zipfile

    run(back, 4.1)
    given = client.post(f"/sites/{slug}/privacy/export")
    with zipfile.ZipFile(io.BytesIO(given.content)) as archive:
        logs = list(csv.DictReader(io.StringIO(archive.read("logs.csv").decode())))
        rolled = list(csv.DictReader(io.StringIO(archive.read("rolled-days.csv").decode())))
        assert not [one for one in archive.namelist() if one.startswith("logs/")]
    assert logs[0]["bytes_removed_at"]
    assert logs[0]["file"] == ""
    assert len(logs[0]["sha256"]) == 64
    assert {one["kept_as"] for one in rolled} == {"five-minute means"}
    assert {int(one["rows_before"]) for one in rolled} == {1439, 1440}


def test_the_worker_does_it_at_night_when_it_has_nothing_else_to_do(back, slug):
    back.clock.move(days=3 * 365.25)
    back.clock.moment = back.clock.moment.replace(hour=0)
    worker = back.worker()
    worker.work_all()
    assert not worker.keep_less()
    back.clock.move(hours=2)
    worker.work_all()
    while worker.keep_less():
        pass
    assert max(blocks(back).values()) <= 289
    assert not worker.keep_less()


def test_a_clock_that_was_set_a_moment_ago_calls_nothing_old(back, slug):
    from service.jobs.run import Worker

    back.clock.move(days=3 * 365.25)
    worker = Worker(
        settings=back.settings,
        database=back.database,
        clock=back.clock,
        steady=lambda _now: False,
    )
    worker.work_all()
    assert not worker.keep_less()
    assert max(blocks(back).values()) == 1440


def test_a_night_of_many_days_is_done_in_pieces(back, slug, monkeypatch):
    back.clock.move(days=3 * 365.25)
    one = nightly.Nightly(
        settings=back.settings,
        database=back.database,
        raw=RawStore(back.settings.data_dir),
        clock=back.clock,
    )
    monkeypatch.setattr(actions.Pass.piece, "__defaults__", (1,))
    pieces = 1
    while one.piece(back.clock.now()):
        pieces += 1
    assert pieces == 4


@pytest.mark.parametrize(
    ("now", "years", "before"),
    [(date(2028, 2, 29), 1, date(2027, 2, 28)), (date(2028, 7, 1), 3, date(2025, 7, 1))],
)
def test_years_are_those_of_the_calendar(now, years, before):
    settings = Settings(keep_full_years=years)
    moment = datetime(now.year, now.month, now.day, 3, tzinfo=UTC)
    assert actions.limits_of(settings, now=moment).means_before == before


def test_the_command_says_asks_and_does(tmp_path, capsys, monkeypatch):
    with back_ends(tmp_path) as make:
        back = make(keep_full_years=1)
        # So old that the machine's own clock calls it so.
        old = tidy_log(first=datetime(2020, 6, 1, tzinfo=UTC), hours=72, step_s=60)
        back.hand_in(back.add_site(), old)
        back.worker().work_all()
    monkeypatch.setenv("SUNTALLY_KEEP_FULL_YEARS", "1")
    command = ["retention", "--data-dir", str(tmp_path / "data")]

    def said(*more: str) -> tuple[int, str]:
        status = main([*command, *more])
        return status, capsys.readouterr().out

    status, out = said("--dry-run")
    assert status == 0
    assert "to be rolled up: 3 days of 4,319 rows" in out
    assert max(blocks(back).values()) == 1440
    monkeypatch.setattr("sys.stdin", io.StringIO("no\n"))
    status, out = said()
    assert (status, "cannot be undone" in out) == (1, True)
    assert max(blocks(back).values()) == 1440
    freed = size(back)
    status, out = said("--yes")
    assert (status, "3 days and files done, 0 failed" in out) == (0, True)
    assert max(blocks(back).values()) <= 289
    freed -= size(back)
    assert freed > 0
    status, out = said("--dry-run")
    assert "to be rolled up: 0 days" in out


def size(back: BackEnd) -> int:
    total = 0
    with back.database.reading() as db:
        total += sum(map(len, db.scalars(select(DayBlock.data))))
        total += sum(map(len, db.scalars(select(RolledDay.extremes))))
    return total


def test_means_are_what_the_rows_were(back, slug):
    with back.database.reading() as db:
        before = decode(db.scalar(select(DayBlock.data).where(DayBlock.day == DAYS[1])))
    run(back, 3)
    with back.database.reading() as db:
        after = decode(db.scalar(select(DayBlock.data).where(DayBlock.day == DAYS[1])))
    noon = int(datetime(2025, 6, 2, 11, 5, tzinfo=UTC).timestamp())
    own = before.columns["collector"][(before.stamp_s > noon - 300) & (before.stamp_s <= noon)]
    assert after.columns["collector"][after.stamp_s == noon] == pytest.approx(own.mean(), abs=1e-3)
