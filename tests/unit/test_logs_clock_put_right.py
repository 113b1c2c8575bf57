"""Stamps of a clock that is known to be wrong are put right as the map says. Invented logs."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from analysis.errors import SiteFileError
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource
from analysis.sitefile import parse_map
from analysis.sitefile_write import map_to_toml
from tests.unit.test_logs_clock import SITE


def seconds(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp())


def read(keys: str, *, days: int = 60, zone: str = "UTC"):
    first = datetime(2025, 1, 1, tzinfo=UTC)
    rows = [f"{first + timedelta(days=n):%Y-%m-%d %H:%M},{n % 9 + 20}" for n in range(days)]
    text = "time,t_collector_c\n" + "\n".join(rows) + "\n"
    told = parse_map(f'[log]\ntimezone = "{zone}"\n{keys}')
    site = replace(SITE, log=told)
    return read_logs([LogSource(name="l.csv", data=text.encode())], site=site)


def moved(log) -> list[int]:
    return [int(86400 * n + seconds("2025-01-01") - one) for n, one in enumerate(log.stamp_s)]


def test_an_offset_is_taken_off_every_stamp_and_said():
    log = read("clock_offset_min = -30")
    assert set(moved(log)) == {-1800}
    remarks = log.files[0].understood.remarks
    assert any("30 minutes behind" in one and "put right" in one for one in remarks)


def test_an_offset_holds_from_a_day_to_a_day_of_the_clock():
    log = read("clock_offset_min = 12.5\nclock_from = 2025-01-11\nclock_until = 2025-01-21")
    assert moved(log) == [0] * 10 + [750] * 10 + [0] * 40
    # A day of a clock five hours west of Greenwich begins at 5 h UTC.
    west = read("clock_offset_min = 12.5\nclock_from = 2025-01-11", zone="Etc/GMT+5")
    assert [one + 5 * 3600 for one in moved(west)] == [0] * 10 + [750] * 50


def test_a_drift_counts_from_its_day():
    log = read("clock_offset_min = 2\nclock_drift_min_per_month = 30.4375\nclock_from = 2025-01-11")
    assert moved(log) == [0] * 10 + [120 + 60 * n for n in range(50)]


def test_a_map_with_a_clock_reads_back_the_same():
    keys = (
        "clock_offset_min = 7.5\nclock_drift_min_per_month = -4\nclock_from = 2025-01-11\n"
        "clock_until = 2025-02-01\n"
    )
    told = parse_map(f"[log]\n{keys}")
    assert parse_map(map_to_toml(told)) == told


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ("clock_drift_min_per_month = 3", "needs clock_from"),
        ("clock_offset_min = 3\nclock_from = 2025-02-01\nclock_until = 2025-02-01", "not after"),
        ("clock_offset_min = 2000", "1440"),
    ],
)
def test_a_clock_that_makes_no_sense_is_refused(keys, says):
    with pytest.raises(SiteFileError, match=says):
        parse_map(f"[log]\n{keys}\n")
