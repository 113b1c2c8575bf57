"""Stamps and the wall clock: missing and doubled hours, impossible dates, layouts."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pytest

from analysis.errors import SiteFileError
from analysis.logs.halfdays import AS_WRITTEN, TOLD, UNTOLD, halves_told
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource
from analysis.logs.stamp_formats import format_of, format_told
from analysis.logs.stamps import UnreadableStampError
from analysis.logs.walltime import (
    DOUBLED_HOUR,
    GOOD,
    MISSING_HOUR,
    STRAIGHT_ON,
    utc_from_wall,
)
from analysis.site import LogMap
from analysis.sitefile import parse_site

ROOT = Path(__file__).parents[2]
SITE_TEXT = (ROOT / "fixtures/sites/mill-lane-4.toml").read_text("utf-8").split("[log]")[0]
SITE = replace(parse_site(SITE_TEXT), log=LogMap())
BERLIN = ZoneInfo("Europe/Berlin")


def wall(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp())


def walls(*texts: str) -> np.ndarray:
    return np.array([wall(text) for text in texts], dtype=np.int64)


def minutes(start: datetime, count: int, step: int = 10) -> list[datetime]:
    return [start + timedelta(minutes=step * n) for n in range(count)]


@pytest.mark.parametrize(
    "zone", ["Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "UTC"]
)
def test_a_year_of_wall_clock_agrees_with_the_standard_library(zone):
    info = ZoneInfo(zone)
    stamps = minutes(datetime(2025, 1, 1, tzinfo=UTC), 6 * 24 * 365)
    told = [moment.astimezone(info).replace(tzinfo=UTC) for moment in stamps]
    utc_s, state = utc_from_wall(
        np.array([int(moment.timestamp()) for moment in told], dtype=np.int64), zone=zone
    )
    assert (state == GOOD).all()
    assert utc_s.tolist() == [int(moment.timestamp()) for moment in stamps]


def test_the_missing_hour_is_set_aside():
    # Central Europe, 30 March 2025: 02:00 becomes 03:00 (Directive 2000/84/EC).
    utc_s, state = utc_from_wall(
        walls("2025-03-30T01:59", "2025-03-30T02:00", "2025-03-30T02:59", "2025-03-30T03:00"),
        zone="Europe/Berlin",
    )
    assert state.tolist() == [GOOD, MISSING_HOUR, MISSING_HOUR, GOOD]
    assert utc_s[3] - utc_s[0] == 60


def test_the_doubled_hour_is_told_apart_by_the_order_of_rows():
    # Central Europe, 26 October 2025: 03:00 becomes 02:00.
    texts = ["01:30", "02:00", "02:30", "02:00", "02:30", "03:00"]
    utc_s, state = utc_from_wall(
        walls(*(f"2025-10-26T{text}" for text in texts)), zone="Europe/Berlin"
    )
    assert (state == GOOD).all()
    assert np.diff(utc_s).tolist() == [1800] * 5
    assert utc_s[0] == wall("2025-10-25T23:30")


@pytest.mark.parametrize(
    "texts",
    [
        ["01:30", "02:00", "02:30", "03:00"],
        ["02:30"],
        ["02:00", "02:30", "02:00", "02:30", "02:00"],
        ["02:00", "02:30", "03:30", "02:00", "02:30"],
    ],
)
def test_the_doubled_hour_is_set_aside_where_nothing_proves_it(texts):
    stamps = walls(*(f"2025-10-26T{text}" for text in texts))
    _, state = utc_from_wall(stamps, zone="Europe/Berlin")
    inside = [text.startswith("02") for text in texts]
    assert (state == DOUBLED_HOUR).tolist() == inside


def test_the_doubled_hour_of_a_log_written_newest_first_is_told_apart():
    stamps = minutes(datetime(2025, 10, 25, 22, tzinfo=UTC), 40)
    rows = [f"{one.astimezone(BERLIN):%Y-%m-%d %H:%M},{n}" for n, one in enumerate(stamps)]
    text = "time,t_collector_c\n" + "\n".join(reversed(rows))
    site = replace(SITE, place=replace(SITE.place, timezone="Europe/Berlin"))
    log = read_logs([LogSource(name="l.csv", data=text.encode())], site=site)
    assert log.stamp_s.tolist() == [int(one.timestamp()) for one in stamps]
    assert log.columns["collector"].tolist() == list(range(40))


# The last day of summer time in each zone: Directive 2000/84/EC; Uniform Time Act as of 2007;
# Daylight Saving Act 2007 (New South Wales), South Australia alike.
AUTUMNS = [
    ("Europe/Berlin", datetime(2025, 10, 25, 12, tzinfo=UTC)),
    ("Europe/London", datetime(2025, 10, 25, 12, tzinfo=UTC)),
    ("America/New_York", datetime(2025, 11, 1, 18, tzinfo=UTC)),
    ("Australia/Sydney", datetime(2025, 4, 5, 4, tzinfo=UTC)),
    ("Australia/Adelaide", datetime(2025, 4, 5, 4, tzinfo=UTC)),
    ("Australia/Lord_Howe", datetime(2025, 4, 5, 4, tzinfo=UTC)),
]


def on_wall(moments: list[datetime], zone: str) -> np.ndarray:
    info = ZoneInfo(zone)
    return walls(*(str(one.astimezone(info).replace(tzinfo=None)) for one in moments))


@pytest.mark.parametrize("step", [1, 5, 15, 60, 120])
@pytest.mark.parametrize(("zone", "start"), AUTUMNS)
def test_a_wall_clock_of_any_step_is_told_through_the_autumn(zone, start, step):
    stamps = minutes(start, 24 * 60 // step, step=step)
    utc_s, state = utc_from_wall(on_wall(stamps, zone), zone=zone)
    assert (state == GOOD).all()
    assert utc_s.tolist() == [int(one.timestamp()) for one in stamps]


@pytest.mark.parametrize("step", [1, 10, 30, 60])
@pytest.mark.parametrize(("zone", "start"), AUTUMNS[:5])
def test_a_clock_that_stays_is_seen_and_never_taken_for_the_wall(zone, start, step):
    stays = start.astimezone(ZoneInfo(zone)).utcoffset()
    stamps = [one + stays for one in minutes(start, 24 * 60 // step, step=step)]
    told = walls(*(str(one.replace(tzinfo=None)) for one in stamps))
    _, state = utc_from_wall(told, zone=zone)
    doubled = state != GOOD
    assert 1 <= doubled.sum() <= 60 // step
    assert (state[doubled] == STRAIGHT_ON).all()


def test_a_gap_at_the_change_proves_nothing():
    every = minutes(datetime(2025, 10, 25, 18, tzinfo=UTC), 100)
    told = walls(*(str(one.replace(tzinfo=None)) for one in every))
    kept = told[(told != wall("2025-10-26T02:20")) & (told != wall("2025-10-26T02:30"))]
    _, state = utc_from_wall(kept, zone="Europe/Berlin")
    assert (state == DOUBLED_HOUR).sum() == 4
    assert (state != GOOD).sum() == 4


@pytest.mark.parametrize(
    ("zone", "first", "winter", "summer"),
    [
        ("Europe/Berlin", datetime(2025, 10, 25, tzinfo=UTC), "Etc/GMT-1", "Etc/GMT-2"),
        ("Australia/Adelaide", datetime(2025, 4, 5, tzinfo=UTC), "Australia/Darwin", None),
        ("America/New_York", datetime(2025, 11, 1, tzinfo=UTC), "Etc/GMT+5", "Etc/GMT+4"),
    ],
)
def test_a_fixed_offset_in_autumn_is_asked_and_the_answer_reads_every_row(
    zone, first, winter, summer
):
    rows = [f"{one:%Y-%m-%d %H:%M},{n}" for n, one in enumerate(minutes(first, 48, step=60))]
    source = LogSource(name="l.csv", data=("time,t_collector_c\n" + "\n".join(rows)).encode())
    site = replace(SITE, place=replace(SITE.place, timezone=zone))
    log = read_logs([source], site=site)
    (question,) = log.questions
    assert question.kind == "time_zone"
    assert "straight through the hour that comes twice" in question.why
    offered = [choice.value for choice in question.choices]
    assert offered[0] == winter
    assert summer is None or summer in offered
    assert offered[-1] == zone
    assert log.rows.rejected == 1
    answered = read_logs([source], site=site, log_map=LogMap(timezone=winter))
    assert not answered.questions
    assert answered.rows.rejected == 0
    assert set(np.diff(answered.stamp_s)) == {3600}


def test_rows_set_aside_name_line_and_remedy():
    text = (
        "time,t_collector_c\n2025-03-30 01:50,1\n2025-03-30 02:10,2\n2025-10-26 02:30,3\n"
        "2025-10-26 03:30,4\n"
    )
    site = replace(SITE, place=replace(SITE.place, timezone="Europe/Berlin"))
    log = read_logs([LogSource(name="l.csv", data=text.encode())], site=site)
    assert [problem.line for problem in log.rejected] == [3, 4]
    assert "does not exist" in log.rejected[0].why
    assert "comes twice" in log.rejected[1].why
    assert all('timezone = "UTC"' in problem.why for problem in log.rejected)
    assert (log.rows.kept, log.rows.rejected) == (2, 2)


SAMPLES = [
    ("2025-06-01T14:01:09Z", "2025-06-01T14:01:09"),
    ("2025-06-01T14:01:09.5+02:00", "2025-06-01T12:01:09"),
    ("2025-06-01 14:01:09 -0330", "2025-06-01T17:31:09"),
    ("2025-06-01", "2025-06-01T00:00"),
    ("2025-06-01 14:01", "2025-06-01T14:01"),
    ("2025-06-01T24:00:00", "2025-06-02T00:00"),
    ("2025/6/1 4:01", "2025-06-01T04:01"),
    ("2025.06.01 04:01:02", "2025-06-01T04:01:02"),
    ("01.06.2025, 04:01", "2025-06-01T04:01"),
    ("1.6.2025 4:01:02 pm", "2025-06-01T16:01:02"),
    ("1.6.2025 12:01 AM", "2025-06-01T00:01"),
    ("20250601T140109Z", "2025-06-01T14:01:09"),
    ("20250601 1401", "2025-06-01T14:01"),
    ("01.06.2025 14h01", "2025-06-01T14:01"),
    ("01.06.2025 14.01.09", "2025-06-01T14:01:09"),
    ("01.06.2025 4:01 Uhr", "2025-06-01T04:01"),
]


@pytest.mark.parametrize(("text", "means"), SAMPLES)
def test_a_stamp_is_read_alone_and_in_a_column(text, means):
    one = format_of([text])
    assert one is not None
    assert not isinstance(one, tuple)
    assert one.one(text) == wall(means)
    assert one.many(pa.array([text] * 3)).tolist() == [wall(means)] * 3


@pytest.mark.parametrize(
    "text", ["2025-02-30 10:00", "2025-13-01 10:00", "2025-01-01 25:00", "2025-01-01 10:60", "x"]
)
def test_an_impossible_stamp_is_never_bent_into_a_possible_one(text):
    one = format_of(["2025-06-01 14:01"])
    assert one is not None
    assert not isinstance(one, tuple)
    assert one.one(text) is None
    with pytest.raises(UnreadableStampError):
        one.many(pa.array(["2025-06-01 14:01", text]))


def test_a_column_of_mixed_layouts_is_read_row_by_row():
    one = format_of(["1.6.2025 4:01"])
    assert one is not None
    assert not isinstance(one, tuple)
    texts = ["1.6.2025 4:01", "11.6.2025 4:01", "1.11.2025 4:01", "1.6.2025 14:01:30"]
    assert one.many(pa.array(texts)).tolist() == [one.one(text) for text in texts]


def test_a_slice_of_a_column_is_read_at_its_own_place():
    one = format_of(["2025-06-01 14:01"])
    assert one is not None
    assert not isinstance(one, tuple)
    column = pa.array([f"2025-06-01 14:0{n}" for n in range(8)])
    assert one.many(column[3:6]).tolist() == one.many(column).tolist()[3:6]


@pytest.mark.parametrize(
    ("told", "text"),
    [
        ("%d.%m.%y %H:%M", "01.06.25 14:01"),
        ("%m/%d/%Y %I:%M %p", "06/01/2025 02:01 PM"),
        ("%Y%m%d%H%M", "202506011401"),
        ("%d %b %Y %H:%M", "01 Jun 2025 14:01"),
        ("%j/%Y %H:%M", "152/2025 14:01"),
    ],
)
def test_a_told_format_is_read(told, text):
    one = format_told(told)
    assert one.one(text) == wall("2025-06-01T14:01")
    assert one.many(pa.array([text])).tolist() == [wall("2025-06-01T14:01")]


def of_twelve(moments: list[datetime], *, midnight: int = 12) -> list[datetime]:
    """Give what a clock of twelve hours shows; at midnight and noon it shows 12 or 0."""
    return [one.replace(hour=one.hour % 12 or midnight) for one in moments]


def seconds(moments: list[datetime]) -> np.ndarray:
    return np.array([int(one.timestamp()) for one in moments], dtype=np.int64)


@pytest.mark.parametrize("midnight", [12, 0])
@pytest.mark.parametrize("start", ["09:40", "00:00", "16:20"])
def test_the_halves_of_the_day_are_told_by_the_order_of_rows(start, midnight):
    true = minutes(datetime.fromisoformat(f"2025-06-01T{start}").replace(tzinfo=UTC), 700)
    told_s, state = halves_told(seconds(of_twelve(true, midnight=midnight)))
    assert told_s.tolist() == seconds(true).tolist()
    assert (state == TOLD).all()


def test_a_half_of_the_day_that_no_order_tells_is_said():
    true = minutes(datetime(2025, 6, 1, tzinfo=UTC), 700)
    # From the third day only two hours after ten are left: in the morning or at night?
    held = [one for one in true if one.day != 3 or 14 <= one.hour < 16]
    told_s, state = halves_told(seconds(of_twelve(held)))
    alone = np.array([one.day == 3 for one in held])
    assert (state == np.where(alone, UNTOLD, TOLD)).all()
    assert told_s[~alone].tolist() == seconds(held)[~alone].tolist()


def test_mornings_alone_are_no_clock_of_twelve_hours():
    mornings = [
        one for one in minutes(datetime(2025, 6, 1, tzinfo=UTC), 700) if 6 <= one.hour <= 11
    ]
    for held in (mornings, [*mornings, *mornings]):
        told_s, state = halves_told(seconds(held))
        assert told_s.tolist() == seconds(held).tolist()
        assert (state == AS_WRITTEN).all()


@pytest.mark.parametrize("newest_first", [False, True])
def test_a_log_of_a_clock_of_twelve_hours_is_read_to_the_second(newest_first):
    true = minutes(datetime(2025, 6, 1, 7, tzinfo=UTC), 400)
    rows = [f"{shown:%d.%m.%Y %I:%M};{n / 10}" for n, shown in enumerate(of_twelve(true))]
    text = "\n".join(["time;t_collector_c", *(rows[::-1] if newest_first else rows)])
    site = replace(SITE, place=replace(SITE.place, timezone="UTC"))
    log = read_logs([LogSource(name="a.csv", data=text.encode())], site=site)
    assert log.stamp_s.tolist() == seconds(true).tolist()
    assert log.columns["collector"].tolist() == [n / 10 for n in range(400)]
    assert "twelve hours" in log.files[0].understood.remarks[0]


def with_reset(*, cut_min=3, off_min=0, step=5, first="2000-01-01T00:00", count=40):
    """Sixty rows, a clock that is reset and runs on for a while, and sixty rows after."""
    before = minutes(datetime(2025, 6, 12, 9, tzinfo=UTC), 60, step=step)
    true = minutes(before[-1] + timedelta(minutes=step + cut_min + off_min), count, step=step)
    after = minutes(true[-1] + timedelta(minutes=step), 60, step=step)
    shift = datetime.fromisoformat(first + "+00:00") - true[0]
    stamped = [*before, *(one + shift for one in true), *after]
    return [*before, *true, *after], stamped


def read_stamps(stamped, *, zone="UTC", **keys):
    info = ZoneInfo(zone)
    rows = [f"{one.astimezone(info):%Y-%m-%d %H:%M},{n}" for n, one in enumerate(stamped)]
    source = LogSource(name="l.csv", data=("time,t_collector_c\n" + "\n".join(rows)).encode())
    return read_logs([source], site=SITE, log_map=LogMap(timezone=zone, **keys))


@pytest.mark.parametrize("first", ["2000-01-01T00:00", "1970-01-01T00:00", "2010-01-01T03:20"])
def test_rows_of_a_reset_clock_are_put_where_alone_they_fit(first):
    true, stamped = with_reset(first=first)
    log = read_stamps(stamped)
    assert log.rows.rejected == 0
    assert log.columns["collector"].tolist() == list(range(160))
    wrong_s = log.stamp_s - np.array([int(one.timestamp()) for one in true])
    assert np.abs(wrong_s).max() <= 120  # half of the three minutes without power, whole minutes
    assert any("clock was reset" in one for one in log.files[0].understood.remarks)


@pytest.mark.parametrize(("step", "cut", "off"), [(5, 3, 600), (60, 0, 0), (5, 40, 0)])
def test_rows_of_a_reset_clock_are_never_placed_by_guess(step, cut, off):
    _, stamped = with_reset(step=step, cut_min=cut, off_min=off)
    log = read_stamps(stamped)
    assert log.rows.rejected == 40
    (group,) = log.set_aside
    assert (group.count, group.first_line, group.last_line) == (40, 62, 101)
    assert "clock was reset" in group.why


def read_with(*strange, step):
    """Read a log of 160 rows, `strange` stamps in their midst."""
    rows = minutes(datetime(2025, 6, 1, tzinfo=UTC), 160, step=step)
    stamped = [f"{one:%Y-%m-%dT%H:%M:%SZ}" for one in rows]
    stamped[80:80] = strange
    lines = [f"{one},{n}" for n, one in enumerate(stamped)]
    source = LogSource(name="l.csv", data=("time,t_collector_c\n" + "\n".join(lines)).encode())
    return read_logs([source], site=SITE)


@pytest.mark.parametrize(
    "strange",
    [
        ["0000-01-01T00:00:00Z"],
        ["0001-01-01T00:00:00+01:00"],
        ["9999-12-31T23:00:00-03:00", "2000-01-01T00:00:00Z"],
        ["9999-12-31T23:59:59Z", "2000-01-01T00:00:00Z", "9999-12-31T00:00:00Z"],
    ],
)
def test_stamps_beyond_the_calendar_are_told_of(strange):
    log = read_with(*strange, step=60)
    assert log.rows.kept >= 80
    assert log.rows.kept + log.rows.rejected == 160 + len(strange)


def test_a_clock_that_was_reset_to_the_year_nought_is_put_right():
    first = "2025-06-01T06:37:30Z"
    log = read_with("0000-01-01T00:00:00Z", step=5)
    assert log.rows.rejected == 0
    assert str(np.datetime64(int(log.stamp_s[80]), "s")) == first[:-1]


@pytest.mark.parametrize(("zone", "first"), [
    ("UTC", "2000-01-01T00:00"),
    ("UTC", "1970-01-01T00:00"),
    ("Europe/Berlin", "2000-01-01T00:30"),
])  # fmt: skip
def test_the_keys_that_are_named_put_a_reset_clock_right(zone, first):
    true, stamped = with_reset(off_min=600, first=first)
    why = read_stamps(stamped, zone=zone).set_aside[0].why
    keys = why.split("clock was set, ")[1].split(" in [log]")[0]
    text = SITE_TEXT + "\n[log]\n" + keys.replace(", ", "\n") + f'\ntimezone = "{zone}"\n'
    log_map = parse_site(text).log
    info = ZoneInfo(zone)
    rows = [f"{one.astimezone(info):%Y-%m-%d %H:%M},{n}" for n, one in enumerate(stamped)]
    source = LogSource(name="l.csv", data=("time,t_collector_c\n" + "\n".join(rows)).encode())
    log = read_logs([source], site=SITE, log_map=log_map)
    assert log.rows.rejected == 0
    assert log.stamp_s.tolist() == [int(one.timestamp()) for one in true]


def test_a_clock_that_was_never_set_again_is_said():
    _, stamped = with_reset()
    log = read_stamps(stamped[:90])
    assert log.rows.rejected == 30
    assert "no later row tells when" in log.set_aside[0].why
    assert log.rows.kept == 60


def test_an_offset_beyond_a_day_needs_the_days_it_holds_for():
    for keys in (
        "clock_offset_min = -13000000",
        "clock_offset_min = 2000\nclock_from = 2000-01-01",
    ):
        with pytest.raises(SiteFileError, match="more than a day"):
            parse_site(f"{SITE_TEXT}\n[log]\n{keys}\n")
