"""What a finding disproves is unknown in the days, and nothing else is touched."""

from datetime import UTC, datetime

import pytest

from fixtures.faults import Fault
from tests.build import FULL_LOG, PUMP_LOG, a_plant, of_kind

LOOP_LOG = ("collector", "store_bottom", "store_top", "loop_hot", "loop_cold", "pump")


def stuck(channel, **given):
    fault = Fault(kind="sensor_stuck", start="2025-05-08T02:00", end="2025-05-16", channel=channel)
    return a_plant(start="2025-05-01", faults=(fault,), **given)


def days_of(report, first, last):
    return [day for day in report.days if first <= day.date < last]


def within(report, true_kwh):
    totals = report.totals
    return totals.delivered_low_kwh <= true_kwh <= totals.delivered_high_kwh


def true_of(plant, report):
    """Give what was truly delivered on the days whose heat the report knows."""
    truth = {str(day): kwh for day, kwh in plant.run.daily_truth().items()}
    return sum(truth[day.date] for day in report.days if day.delivered_kwh is not None)


@pytest.mark.parametrize("channel", ["loop_hot", "loop_cold"])
def test_heat_from_a_stuck_sensor_is_unknown(channel):
    plant = stuck(channel, sensors="perfect")
    report = plant.report()
    wrong = days_of(report, "2025-05-08", "2025-05-16")
    unknown = [day for day in wrong if day.delivered_kwh is None]
    assert len(unknown) >= 6
    assert all(day.coverage == 0.0 and day.expected_kwh is None for day in unknown)
    assert within(report, true_of(plant, report))


def test_the_other_days_keep_their_figures():
    plant = stuck("loop_hot")
    sound = a_plant(start="2025-05-01").report()
    report = plant.report()
    for day in days_of(report, "2025-05-01", "2025-05-08"):
        (same,) = days_of(sound, day.date, f"{day.date}~")
        assert day.delivered_kwh == same.delivered_kwh


def test_a_stuck_sensor_that_heat_does_not_rest_on_costs_no_figure():
    report = stuck("store_top").report()
    assert all(day.delivered_kwh is not None for day in report.days)
    assert report.totals.coverage == pytest.approx(1.0)


def test_a_stuck_pyranometer_leaves_the_heat_and_takes_the_healthy_figure():
    report = stuck("irradiance_plane").report()
    wrong = days_of(report, "2025-05-08", "2025-05-16")
    assert all(day.delivered_kwh is not None for day in wrong)
    assert all(day.irradiation_kwh_m2 is None and day.expected_kwh is None for day in wrong)


@pytest.mark.parametrize("channels", [LOOP_LOG, PUMP_LOG])
def test_a_command_that_moved_nothing_is_no_heat(channels):
    fault = Fault(kind="pump_dead", start="2025-05-08", end="2025-05-20")
    plant = a_plant(start="2025-05-01", faults=(fault,), channels=channels, sensors="perfect")
    report = plant.report()
    assert of_kind(report, "lost_circulation")
    unknown = [
        day for day in days_of(report, "2025-05-08", "2025-05-20") if day.delivered_kwh is None
    ]
    assert len(unknown) >= 10
    assert within(report, true_of(plant, report))
    assert report.totals.coverage < 0.7


def test_a_meter_that_saw_nothing_move_is_believed():
    fault = Fault(kind="pump_dead", start="2025-05-08", end="2025-05-20")
    report = a_plant(start="2025-05-01", faults=(fault,), channels=FULL_LOG).report()
    assert report.totals.coverage == pytest.approx(1.0)
    for day in days_of(report, "2025-05-09", "2025-05-20"):
        assert day.delivered_kwh == pytest.approx(0.0, abs=0.2)


def test_a_sound_plant_is_left_alone():
    plant = a_plant(start="2025-05-01")
    table = plant.table()
    report = plant.report(table=table)
    known = sum(day.delivered_kwh for day in report.days)
    assert known == pytest.approx(float(table.column("heat_kwh").sum()))


def test_the_field_check_leaves_out_days_of_a_stuck_sensor():
    found = stuck("loop_hot", step_s=300).report().field_check
    dates = {
        datetime.fromtimestamp(start, UTC).date().isoformat() for start in found.points.start_s
    }
    sound = a_plant(start="2025-05-01", step_s=300).report().field_check
    all_dates = {
        datetime.fromtimestamp(start, UTC).date().isoformat() for start in sound.points.start_s
    }
    assert any("2025-05-09" <= date < "2025-05-15" for date in all_dates)
    assert dates
    assert not any("2025-05-09" <= date < "2025-05-15" for date in dates)
