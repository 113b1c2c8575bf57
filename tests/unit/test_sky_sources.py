"""Where a day's sun comes from: the most trusted source that tells its logged daylight."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.assess import observe
from analysis.day_rows import day_rows, numbers_of
from analysis.sky import LEVEL, NO_SOURCE, PLANE, WEATHER
from analysis.weather import Weather
from tests.build import FULL_LOG, a_plant, a_report_of

DAY_S = 86_400


@pytest.fixture(scope="module")
def plant():
    channels = tuple(name for name in FULL_LOG if name != "ambient")
    return a_plant(start="2025-06-02", days=6, channels=(*channels, "irradiance_horizontal"))


def silent(record, name, first, last):
    """Take a channel's values out of whole days."""
    number = (record.start_s - record.start_s[0]) // DAY_S
    values = np.where((number >= first) & (number < last), np.nan, record.columns[name])
    return replace(record, columns={**record.columns, name: values})


def hours(record, first, last):
    """Give weather of days `first` to `last` (excluded): a bright noon; invented."""
    time_s = int(record.start_s[0]) + first * DAY_S + np.arange((last - first) * 24) * 3600
    ghi = np.maximum(700.0 * np.sin((time_s % DAY_S / 3600.0 - 5.0) / 14.0 * np.pi), 0.0)
    return Weather(
        time_s=time_s.astype(np.int64),
        ghi_w_m2=ghi,
        dni_w_m2=ghi * 0.7,
        dhi_w_m2=ghi * 0.4,
        t_ambient_c=np.full(len(time_s), 18.0),
        wind_m_s=np.full(len(time_s), np.nan),
    )


def sources(table):
    number = table.column("sky_source")
    return [NO_SOURCE if np.isnan(one) else int(one) for one in number]


def test_a_day_takes_the_most_trusted_source_that_tells_its_daylight(plant):
    record = silent(plant.record, "irradiance_plane", 1, 4)
    record = silent(record, "irradiance_horizontal", 2, 4)
    given = {"site": plant.site, "channels": plant.channels, "weather": hours(record, 0, 3)}
    table = observe(record=record, **given)
    assert sources(table) == [PLANE, LEVEL, WEATHER, NO_SOURCE, PLANE, PLANE]
    known = np.isfinite(table.column("expected_kwh"))
    assert known.tolist() == [True, True, True, False, True, True]
    report = a_report_of(
        site=plant.site, table=table, record=record, channels=plant.channels, until_s=plant.end_s
    )
    assert report.basis.weather == "irradiance_plane"
    notes = " ".join(report.basis.notes)
    assert "On 1 day the sun comes from the horizontal sensor" in notes
    assert "On 1 day the sun comes from the weather data" in notes


def test_a_sensor_that_fails_for_an_hour_keeps_its_day(plant):
    values = plant.record.columns["irradiance_plane"].copy()
    values[70:73] = np.nan
    record = replace(plant.record, columns={**plant.record.columns, "irradiance_plane": values})
    table = observe(site=plant.site, channels=plant.channels, record=record)
    assert sources(table) == [PLANE] * 6


def test_weather_of_other_days_changes_nothing_of_a_day(plant):
    blind = {
        name: values
        for name, values in plant.record.columns.items()
        if not name.startswith("irradiance")
    }
    record = replace(plant.record, columns=blind)
    channels = frozenset(blind)
    given = {"site": plant.site, "channels": channels, "record": record}
    without, told = (
        [
            {"date": row["date"], "numbers": numbers_of(row), "happenings": row["happenings"]}
            for row in day_rows(observe(**given, **more))
        ]
        for more in ({}, {"weather": hours(record, 0, 3)})
    )
    # The day after the weather's end sees it as a neighbour.
    assert told[4:] == without[4:]
    assert told[:3] != without[:3]
    assert all(row["numbers"]["sky_source"] == WEATHER for row in told[:3])
