"""Pump at night and pump without end; frost protection and a wrong clock look alike."""

import numpy as np
import pytest

from fixtures.faults import Fault
from tests.build import NO_SUN_LOG, PUMP_LOG, Plant, a_clear_day, a_plant, a_site, fault_of, of_kind
from tests.unit.faults.test_every_fault import EVERYTHING, nights_pumped

pytestmark = pytest.mark.thorough

NIGHT, ENDLESS = "night_running", "pump_never_stops"
HOUR = np.arange(288) / 12.0


def seen(kind, **columns):
    record = a_clear_day(**columns)
    plant = Plant(site=a_site(), record=record, channels=frozenset(record.columns))
    return plant.table(catalogue=(fault_of(kind),)).of_kind(kind)


def pumped_at_night(collector_c):
    """Give a day with the pump on from 0 to 3 h UTC over a store of 30 °C."""
    day = a_clear_day().columns
    early = HOUR < 3.0
    return {
        "pump": np.where(early, 100.0, day["pump"]),
        "collector": np.where(early, collector_c, day["collector"]),
        "ambient": np.where(early, min(collector_c, 15.0), day["ambient"]),
    }


@pytest.mark.parametrize("channels", [EVERYTHING, NO_SUN_LOG, PUMP_LOG])
def test_pumped_nights_are_found_with_their_span(channels):
    plant = a_plant(faults=nights_pumped(6, 20), channels=channels)
    report = plant.report()
    (found,) = of_kind(report, NIGHT)
    assert of_kind(report, ENDLESS) == ()
    dates = [item.date for item in plant.table().of_kind(NIGHT)]
    assert dates[0] in ("2025-05-06", "2025-05-07")
    assert dates[-1] in ("2025-05-18", "2025-05-19")
    assert found.end_s is not None


@pytest.mark.parametrize(
    ("collector_c", "times"),
    [
        (22.0, 1),
        (4.0, 0),  # frost protection
        (45.0, 0),  # warm: the clock is wrong, not the pump
    ],
)
def test_a_cold_roof_in_mild_air_tells_it_from_frost_and_from_the_clock(collector_c, times):
    assert len(seen(NIGHT, **pumped_at_night(collector_c))) == times


def test_two_nights_are_not_reported():
    assert of_kind(a_plant(faults=nights_pumped(6, 8)).report(), NIGHT) == ()


@pytest.mark.parametrize("channels", [EVERYTHING, PUMP_LOG])
def test_a_pump_without_end_is_one_finding_that_explains_its_nights(channels):
    fault = Fault(kind="night_running", start="2025-05-08", end="2025-05-20")
    report = a_plant(faults=(fault,), channels=channels).report()
    (found,) = of_kind(report, ENDLESS)
    assert found.end_s is not None
    (nights,) = of_kind(report, NIGHT)
    assert nights.suppressed_by == ENDLESS


@pytest.mark.parametrize(("since", "urgency"), [("2025-05-12", "visit"), ("2025-05-26", "watch")])
def test_a_pump_still_running_is_worth_a_visit_after_weeks(since, urgency):
    fault = Fault(kind="night_running", start=since)
    (found,) = of_kind(a_plant(faults=(fault,)).report(), ENDLESS)
    assert found.end_s is None
    assert found.certainty > 0.9
    assert found.urgency == urgency


@pytest.mark.parametrize(("collector_c", "times"), [(15.0, 1), (2.0, 0)])
def test_a_whole_day_of_pumping_counts_unless_it_is_cold(collector_c, times):
    # Where nothing stirred at all the rows would be those of a logger that died.
    cold = {"collector": collector_c + np.sin(HOUR), "ambient": collector_c, "pump": 100.0}
    assert len(seen(ENDLESS, **cold)) == times


def test_a_day_known_in_half_does_not_count():
    pump = np.where(HOUR < 12.0, 100.0, np.nan)
    assert seen(ENDLESS, collector=15.0, pump=pump) == ()


@pytest.mark.parametrize("channels", [EVERYTHING, PUMP_LOG])
@pytest.mark.parametrize("collector", ["heat_pipe", "direct_flow"])
def test_heat_taken_at_night_lies_within_its_bounds(collector, channels):
    given = {"collector": collector}
    if collector == "direct_flow":
        given |= {"heat_pipe_start_c": None, "heat_pipe_limit_c": None}
    plant = a_plant(faults=nights_pumped(6, 26), channels=channels, **given)
    (found,) = of_kind(plant.report(), NIGHT)
    run = plant.run
    assert run is not None
    # Nothing but the pump takes heat out of the loop's store in those hours.
    pumped = (run.start_s % 86400 < 2 * 3600) | (run.start_s % 86400 >= 23 * 3600)
    taken_kwh = -np.minimum(run.truth["delivered_w"][pumped], 0.0).sum() / 60.0 / 1000.0
    assert found.lost is not None
    assert found.lost.low < taken_kwh < found.lost.high
