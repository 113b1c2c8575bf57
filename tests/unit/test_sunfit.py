"""Does the sun of a log fit the place: its own place, another zone, another hemisphere."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.record import Record
from analysis.sunfit import check_sun
from fixtures.faults import Fault
from tests.build import NO_SUN_LOG, a_plant, a_record, a_site

DAYS = {"days": 12}


def shifted(record, hours):
    return Record(
        start_s=record.start_s + int(hours * 3600),
        step_s=record.step_s.copy(),
        columns={name: values.copy() for name, values in record.columns.items()},
        masked=dict(record.masked),
    )


def elsewhere(site, **place):
    return replace(site, place=replace(site.place, **place))


@pytest.mark.parametrize("start", ["2025-01-05", "2025-04-01", "2025-07-01", "2025-10-15"])
@pytest.mark.parametrize("channels", [None, NO_SUN_LOG])
def test_a_log_of_the_place_fits_in_every_season(start, channels):
    given = {} if channels is None else {"channels": channels}
    plant = a_plant(start=start, **DAYS, **given)
    assert check_sun(site=plant.site, record=plant.record) is None


@pytest.mark.parametrize("hours", [-1, 1, 2])
def test_a_clock_that_is_a_little_off_is_no_reason_to_refuse(hours):
    plant = a_plant(start="2025-07-01", **DAYS)
    assert check_sun(site=plant.site, record=shifted(plant.record, hours)) is None


@pytest.mark.parametrize(("hours", "way"), [(8, "behind"), (-8, "ahead of"), (10, "behind")])
def test_a_log_from_another_zone_is_told_with_its_hours(hours, way):
    plant = a_plant(start="2025-04-01", **DAYS)
    said = check_sun(site=plant.site, record=shifted(plant.record, hours))
    assert said is not None
    assert f"hours {way} the sun" in said
    assert "timezone" in said
    assert "\n" not in said


def test_a_log_of_another_longitude_is_told():
    plant = a_plant(start="2025-04-01", **DAYS)
    far = elsewhere(plant.site, longitude_deg=-1.5 + 150.0)
    assert check_sun(site=far, record=plant.record) is not None


def test_a_log_of_another_hemisphere_is_told_where_its_days_are_too_long():
    plant = a_plant(start="2025-06-15", **DAYS)
    south = elsewhere(plant.site, latitude_deg=-52.4)
    said = check_sun(site=south, record=plant.record)
    assert said is not None
    assert "site" in said


def test_a_log_that_says_too_little_is_not_refused():
    nothing = a_record(rows=288, store_bottom=50.0)
    assert check_sun(site=a_site(), record=nothing) is None
    dark = a_record(rows=2000, irradiance_plane=0.0)
    assert check_sun(site=a_site(), record=dark) is None
    unknown = a_record(rows=2000, irradiance_plane=np.nan)
    assert check_sun(site=a_site(), record=unknown) is None


def test_a_store_that_keeps_the_collector_warm_at_night_does_not_make_a_log_foreign():
    fault = Fault(kind="reverse_circulation", start="2025-03-01")
    plant = a_plant(start="2025-03-01", days=20, channels=NO_SUN_LOG, faults=(fault,))
    assert check_sun(site=plant.site, record=plant.record) is None
