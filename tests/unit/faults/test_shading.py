"""Shading: directions of the sun that stay dark; not cloud, tubes, azimuth or horizon."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.faults import Judged, NotJudged
from analysis.faults._sun_path import SECTORS, elevations_deg
from analysis.record import record_from_stamps
from fixtures.faults import Fault
from fixtures.weather import DULL
from tests.build import FULL_LOG, NO_SUN_LOG, PUMP_LOG, a_plant, a_site, a_table, of_kind

pytestmark = pytest.mark.thorough

TREE = {"azimuth_deg": (195.0, 265.0), "elevation_deg": 40.0}
DAYS = {"start": "2025-08-10", "days": 60}


def plant(kind="shading", *, start="2025-08-20", end=None, channels=FULL_LOG, **given):
    tree = Fault(kind=kind, start=start, end=end, **TREE)
    return a_plant(**DAYS, channels=channels, faults=(tree,), **given)


@pytest.mark.parametrize("channels", [FULL_LOG, NO_SUN_LOG, PUMP_LOG])
def test_a_new_tree_is_found_with_its_directions(channels):
    (found,) = of_kind(plant(channels=channels).report(), "shading")
    first, last, highest = (item.value for item in found.evidence[:3])
    # Put in from 195 to 265 degrees, 40 high; sectors are ten degrees wide.
    assert 190.0 <= first <= 210.0
    assert 250.0 <= last <= 270.0
    assert 33.0 <= highest <= 45.0
    assert found.end_s is None
    assert "sensor" not in found.summary
    assert (found.lost is None) == (channels != FULL_LOG)


def test_the_heat_it_costs_is_within_the_bounds():
    shaded, sound = plant(), a_plant(**DAYS)
    (found,) = of_kind(shaded.report(), "shading")
    truly = [sum(list(one.run.daily_truth().values())[10:]) for one in (sound, shaded)]
    assert found.lost.low < truly[0] - truly[1] < found.lost.high
    assert found.urgency == "visit"


def test_a_sun_sensor_in_the_same_shade_shows_it_and_no_loss_is_stated():
    (found,) = of_kind(plant("shading_of_all").report(), "shading")
    assert "sensor is shaded" in found.summary
    assert found.lost is None


def test_it_ends_when_the_tree_is_cut():
    logged = plant(start="2025-08-12", end="2025-09-12")
    edges = logged.table(catalogue=()).days.edge_s
    (found,) = of_kind(logged.report(), "shading")
    assert edges[28] <= found.end_s <= edges[33]


@pytest.mark.parametrize(
    "given",
    [
        {},
        {"climate": DULL},
        {"faults": (Fault(kind="tubes_missing", tubes=9, start="2025-08-15"),)},
        {"faults": (Fault(kind="tubes_without_vacuum", tubes=9, start="2025-08-15"),)},
        {"faults": (Fault(kind="pump_dead", start="2025-08-15", end="2025-08-30"),)},
        {"away": (("2025-08-12", "2025-09-01"),)},
        {
            "horizon_azimuth_deg": (194.0, 195.0, 265.0, 266.0),
            "horizon_elevation_deg": (0.0, 40.0, 40.0, 0.0),
        },
    ],
)
@pytest.mark.parametrize("channels", [FULL_LOG, PUMP_LOG])
def test_cloud_tubes_standstill_and_a_known_horizon_are_not_it(given, channels):
    conclusion = a_plant(**DAYS, channels=channels, **given).conclusion("shading")
    assert isinstance(conclusion, Judged)
    assert conclusion.findings == ()


@pytest.mark.parametrize("channels", [FULL_LOG, NO_SUN_LOG])
@pytest.mark.parametrize("off_deg", [-40.0, 40.0])
def test_an_azimuth_that_is_wrong_makes_no_edge(off_deg, channels):
    logged = a_plant(**DAYS, channels=channels)
    (array,) = logged.site.arrays
    turned = replace(array, azimuth_deg=array.azimuth_deg + off_deg)
    logged = replace(logged, site=replace(logged.site, arrays=(turned,)))
    assert logged.conclusion("shading").findings == ()


def with_clock(logged, minutes):
    """Give a plant as a clock would log it that is ahead by so much."""
    record = record_from_stamps(
        stamp_s=logged.record.start_s + minutes * 60, columns=logged.record.columns, stamp="start"
    )
    return replace(logged, record=record)


def told(report, kind):
    """Give what explains each finding of a kind; None for one that stands."""
    return [item.suppressed_by for item in of_kind(report, kind)]


WITHOUT_SUN = pytest.mark.parametrize("channels", [NO_SUN_LOG, PUMP_LOG])


@WITHOUT_SUN
@pytest.mark.parametrize("azimuth_deg", [(95.0, 150.0), (210.0, 265.0)])
def test_shade_is_not_taken_for_a_clock_where_no_sensor_sees_the_sun(channels, azimuth_deg):
    tree = Fault(kind="shading", start="2025-06-01", azimuth_deg=azimuth_deg, elevation_deg=60.0)
    report = a_plant(start="2025-05-01", days=80, channels=channels, faults=(tree,)).report()
    assert told(report, "shading") == [None]
    assert set(told(report, "clock_wrong")) <= {"shading"}


# Half an hour of a clock that is behind is more than a pump's log alone tells.
@pytest.mark.parametrize(
    ("channels", "minutes"),
    [(NO_SUN_LOG, -60), (NO_SUN_LOG, -30), (NO_SUN_LOG, 30), (PUMP_LOG, -60), (PUMP_LOG, 30)],
)
def test_a_clock_is_not_taken_for_shade_where_no_sensor_sees_the_sun(channels, minutes):
    report = with_clock(a_plant(start="2025-05-01", days=80, channels=channels), minutes).report()
    assert told(report, "clock_wrong") == [None]
    assert set(told(report, "shading")) <= {"clock_wrong"}


@WITHOUT_SUN
@pytest.mark.parametrize("minutes", [-45, 45])
def test_both_together_leave_the_shade_told(channels, minutes):
    report = with_clock(
        a_plant(
            start="2025-05-01", days=80, channels=channels,
            faults=(
                Fault(
                    kind="shading", start="2025-06-01", azimuth_deg=(210.0, 265.0),
                    elevation_deg=60.0,
                ),
            ),
        ),
        minutes,
    ).report()  # fmt: skip
    assert len(told(report, "shading")) == 1
    # Only from the sound weeks before can the clock be told.
    assert None in (*told(report, "shading"), *told(report, "clock_wrong"))


def test_what_is_dark_from_morning_to_evening_is_no_shade():
    meter = Fault(kind="flow_dead", start="2025-08-20")
    assert a_plant(**DAYS, faults=(meter,)).conclusion("shading").findings == ()


def test_it_is_not_judged_without_heat_and_sun():
    conclusion = a_plant(days=6, channels=("store_bottom", "store_top")).conclusion("shading")
    assert isinstance(conclusion, NotJudged)


def test_the_sun_is_highest_in_the_south():
    # At noon the sun is 90° less the latitude plus its declination high: 23.4° at midsummer.
    table = a_table(first="2025-06-21", count=1)
    site = a_site(place={"latitude_deg": 50.0, "longitude_deg": 0.0})
    height = elevations_deg(site, table)[0]
    assert height[SECTORS.index(170)] == pytest.approx(63.4, abs=0.3)
    assert np.nanargmax(height) in (SECTORS.index(170), SECTORS.index(180))
