"""Too little and too much flow, metered and from the sun; a blocked loop and lost tubes differ."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.faults._flow_share import against_own
from analysis.faults.high_flow import HighFlow
from analysis.faults.low_flow import LowFlow
from fixtures.faults import Fault
from fixtures.weather import CONTINENTAL
from tests.build import NO_SUN_LOG, PUMP_LOG, a_history, a_plant, a_table, at, of_kind
from tests.unit.faults.test_every_fault import EVERYTHING

pytestmark = pytest.mark.thorough

UNMETERED = tuple(name for name in EVERYTHING if name != "flow")


def plant(kind, *, channels=EVERYTHING, value=None, **given):
    fault = Fault(kind=kind, start="2025-05-05", end="2025-05-22", value=value, **given)
    return a_plant(faults=(fault,), channels=channels, least_speed=1.0)


@pytest.mark.parametrize("channels", [EVERYTHING, NO_SUN_LOG])
def test_a_third_of_the_flow_is_metered_and_worth_a_visit(channels):
    logged = plant("low_flow", channels=channels, value=0.35)
    (found,) = of_kind(logged.report(), "low_flow")
    # A meter of 5 % and the truth put in.
    assert found.evidence[0].value == pytest.approx(35.0, rel=0.06)
    assert found.end_s is not None
    share = logged.table().column("flow_share")
    assert np.nanmedian(share[25:]) == pytest.approx(1.0, abs=0.08)


def test_without_a_meter_sun_and_spread_tell_it():
    (found,) = of_kind(plant("low_flow", channels=UNMETERED, value=0.3).report(), "low_flow")
    assert found.urgency == "watch"
    assert found.evidence[0].value == pytest.approx(30.0, abs=12.0)


def test_a_fall_against_the_own_past_is_not_stated_as_a_share_of_the_papers():
    # Papers that state three fifths of the real flow leave a fall to half near their figure.
    pipes = tuple(name for name in EVERYTHING if name != "flow")
    fault = Fault(kind="low_flow", start="2025-05-25", end="2025-06-20", value=0.5)
    logged = a_plant(days=60, faults=(fault,), channels=pipes, least_speed=1.0)
    stated = logged.site.loop
    loop = replace(stated, flow_l_min=0.6 * stated.flow_l_min)
    (found,) = of_kind(replace(logged, site=replace(logged.site, loop=loop)).report(), "low_flow")
    assert "its own earlier days" in found.summary
    assert found.evidence[0].value == pytest.approx(50.0, abs=15.0)


def test_without_meter_and_sun_it_cannot_be_judged():
    assert "pump" in plant("low_flow", channels=PUMP_LOG).conclusion("low_flow").why


def test_without_meter_and_sun_clear_days_tell_half_of_the_flow():
    pipes = tuple(name for name in NO_SUN_LOG if name != "flow")
    fault = Fault(kind="low_flow", start="2025-06-05", end="2025-06-30", value=0.5)
    logged = a_plant(days=72, faults=(fault,), channels=pipes, least_speed=1.0, climate=CONTINENTAL)
    (found,) = of_kind(logged.report(), "low_flow")
    assert found.urgency == "watch"
    assert found.evidence[0].value == pytest.approx(50.0, abs=20.0)
    assert at("2025-06-04") < found.start_s < at("2025-06-20")


# Heat over that of a clear sky: a dull summer with one clear day in six, dull ones between.
CLEAR_RATIO = np.where(np.arange(90) % 6 == 0, 1.0, np.where(np.arange(90) % 3 == 0, 0.3, np.nan))


def by_clear_days(ratio):
    table = a_table(
        count=90, clear_ratio=ratio, flow_share=np.nan, seen_loop_hot=1.0, asked_flow_l_min=6.0,
        pumped_from_s=np.arange(90) * 86400.0, pumped_until_s=np.arange(90) * 86400.0 + 3600.0,
    )  # fmt: skip
    return LowFlow().conclude(a_history(table)).findings


def test_a_few_clear_days_that_agree_are_a_level_and_dull_ones_end_nothing():
    # Half the flow from the day after the sixth clear one on: the spread says twice the heat.
    onset = 31
    (found,) = by_clear_days(np.where(np.arange(90) < onset, 1.0, 2.0) * CLEAR_RATIO)
    assert found.start_s == 36 * 86400
    assert found.evidence[0].value == pytest.approx(50.0, abs=1.0)
    assert found.end_s is None


def test_a_dull_summer_of_sound_flow_says_nothing():
    assert by_clear_days(CLEAR_RATIO) == ()


def test_days_that_scatter_make_no_level():
    share = np.array([1.0, 1.4, 2.0, 2.8, 4.0, 1.0, 0.5])
    assert np.isnan(against_own(share, edge_frac=0.25, agreeing=5).level).all()
    agreed = against_own(
        np.array([1.0, 0.98, 3.0, 1.02, 1.0, 1.01, 0.5]), edge_frac=0.25, agreeing=5
    )
    assert agreed.share[-1] == pytest.approx(0.5, abs=0.02)
    assert np.isnan(agreed.share[:6]).all()


def test_twice_the_flow_at_part_command_is_told_by_the_plants_own_past():
    fault = Fault(kind="high_flow", start="2025-05-20", end="2025-06-05")
    (found,) = of_kind(a_plant(days=50, faults=(fault,)).report(), "high_flow")
    assert found.evidence[0].value == pytest.approx(200.0, rel=0.1)
    assert at("2025-05-19") < found.start_s < at("2025-05-31")


@pytest.mark.parametrize(("usual", "told"), [(0.97, True), (1.7, False)])
def test_part_command_goes_by_the_papers_once_the_pump_has_shown_itself_linear(usual, told):
    """Twice the flow leaves full command for good: no past tells of the new one."""
    part = np.full(30, np.nan)
    part[[2, 5, 9]] = usual
    part[12:] = 1.94
    table = a_table(
        count=30,
        metered_flow_share_70=np.where(np.arange(30) < 12, 0.97, np.nan),
        metered_flow_share_45=part,
        metered_flow_share_25=np.nan, asked_flow_l_min=2.0,
        pumped_from_s=np.arange(30) * 86400.0, pumped_until_s=np.arange(30) * 86400.0 + 3600.0,
    )  # fmt: skip
    found = HighFlow().conclude(a_history(table)).findings
    assert [item.start_s for item in found] == ([12 * 86400] if told else [])


def test_a_little_less_flow_is_fine():
    assert of_kind(plant("low_flow", value=0.8).report(), "low_flow") == ()


def test_a_blocked_loop_is_another_kind():
    assert of_kind(plant("airlock").report(), "low_flow") == ()


@pytest.mark.parametrize("channels", [EVERYTHING, UNMETERED])
@pytest.mark.parametrize("kind", ["low_flow", "high_flow"])
def test_lost_tubes_are_not_taken_for_a_change_of_flow(kind, channels):
    logged = plant("tubes_missing", tubes=9, channels=channels)
    assert of_kind(logged.report(), kind) == ()


def test_twice_the_flow_is_metered_and_only_watched():
    (found,) = of_kind(plant("high_flow").report(), "high_flow")
    assert found.urgency == "watch"
    assert found.evidence[0].value == pytest.approx(200.0, rel=0.06)
    assert found.end_s is not None


def test_a_quarter_more_flow_is_fine():
    assert of_kind(plant("high_flow", value=1.25).report(), "high_flow") == ()


def test_much_flow_needs_a_meter():
    assert "metered" in plant("high_flow", channels=UNMETERED).conclusion("high_flow").why
