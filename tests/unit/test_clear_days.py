"""Clear days without a sun sensor: seasons, falls, and what is left alone. Invented numbers."""

import numpy as np
import pytest

from analysis.clear_days import FEW_DAYS, falls_of, level_of, seasons_of
from analysis.results import iso
from dashboards.check_facts import clear_days_of
from fixtures.scenario import Fault, home
from fixtures.weather import DULL
from tests.bench.clear_days import WITH_FLOW, called
from tests.build import a_table
from tests.plants import POOR, examine

HEAT = {f"heat_{name}_u_kwh": 0.1 for name in ("hot", "cold", "flow", "fluid", "method")}


def table(ratios, *, first="2025-04-01"):
    return a_table(
        first=first,
        count=len(ratios),
        clear_ratio=np.array(ratios),
        heat_kwh=4.0,
        heat_random_kwh2=0.0,
        **HEAT,
    )


def falls(ratios):
    return falls_of(level_of(table(ratios)))


CLEAR = [1.0, 0.98, 1.02, 0.99] * 5


def test_an_even_plant_has_no_fall():
    assert falls(CLEAR * 4) == ()


def test_a_halved_plant_falls_on_its_first_weak_day():
    (fall,) = falls(CLEAR + [0.48, 0.47, 0.46, 0.48] * 5)
    assert (fall.first, fall.over, fall.own) == (20, False, True)
    assert fall.level == pytest.approx(0.48)
    assert fall.sound == pytest.approx(1.0, abs=0.01)


def test_it_is_over_when_a_clear_day_is_sound_again():
    (fall,) = falls(CLEAR + [0.48, 0.47, 0.46, 0.48] * 5 + CLEAR)
    assert (fall.first, fall.last, fall.over) == (20, 39, True)


def test_a_dull_spell_scatters_and_is_no_fall():
    dull = [0.3, 0.55, 0.2, 0.41, 0.12, 0.35, 0.28, 0.5, 0.22, 0.44] * 2
    assert falls(CLEAR + dull + CLEAR) == ()


def test_a_fifth_less_is_too_little_to_be_told_from_a_hazy_season():
    assert falls(CLEAR + [0.8, 0.79, 0.81] * 10) == ()


def test_a_few_weak_days_are_not_enough():
    assert falls(CLEAR + [0.48, np.nan, 0.47, np.nan, 0.46, np.nan, 0.47] * 2)[:1] == ()


def test_without_a_past_the_clear_sky_must_do():
    (fall,) = falls([0.45, 0.44, 0.46, 0.45] * 5)
    assert (fall.first, fall.own, fall.sound) == (0, False, 1.0)


def test_without_a_past_uncertain_heat_proves_nothing():
    wide = a_table(
        first="2025-04-01",
        count=20,
        clear_ratio=np.array([0.55, 0.54, 0.56, 0.55] * 5),
        heat_kwh=4.0,
        heat_random_kwh2=0.0,
        **{**HEAT, "heat_method_u_kwh": 1.5},
    )
    assert falls_of(level_of(wide)) == ()


def test_seasons_say_how_much_they_carry():
    found = seasons_of(table(CLEAR + [np.nan] * 40 + [1.0, 0.5], first="2025-05-01"))
    assert [item.season for item in found] == ["spring 2025", "summer 2025"]
    assert found[0].days == 20
    assert found[0].level.low < 1.0 < found[0].level.high
    assert found[1].days < FEW_DAYS
    assert found[1].level is None
    assert found[1].basis == "too few clear days"


def test_a_winter_belongs_to_the_year_it_ends_in():
    found = seasons_of(table([1.0] * 40, first="2024-12-10"))
    assert [item.season for item in found] == ["winter 2025"]


@pytest.mark.parametrize("channels", [WITH_FLOW, POOR], ids=["flow", "four channels"])
def test_a_halved_plant_is_found_and_a_dull_summer_is_not(channels):
    fault = Fault(kind="soiling", start="2025-06-01", value=0.5)
    days = {"start": "2025-03-01", "days": 184}
    halved = examine(home(faults=(fault,)), seed=3, channels=channels, **days).report
    (found,) = [item for item in halved.findings if item.kind == "yield_shortfall"]
    assert "2025-05-25" <= iso(found.start_s) <= "2025-06-20"
    assert found.end_s is None
    if "flow" in channels:
        assert found.lost.low < found.lost.value < found.lost.high
    else:  # what an assumed flow carried is no figure of heat; the reason stands instead
        assert found.lost is None
        assert "or more flow than at commissioning" in found.summary
    dull = examine(home(climate=DULL), seed=3, channels=channels, **days)
    assert called(dull) == []
    verdict = {item.kind: item for item in dull.report.verdicts}["yield_shortfall"]
    assert verdict.outcome == "clear"
    assert "about half, not smaller losses" in verdict.why
    assert clear_days_of(dull.report)


def test_a_site_with_a_sun_sensor_needs_no_clear_days():
    seen = examine(home(), seed=3, start="2025-06-01", days=10)
    assert not np.isfinite(seen.table.column("clear_ratio")).any()
    assert seen.report.clear_seasons == ()
