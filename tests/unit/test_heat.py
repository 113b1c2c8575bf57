"""Heat from rows: proportions, gaps, registers, signs, and what a resting loop delivers."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.heat import BASES, coil_effectiveness, heat_basis, heat_flow
from analysis.units import kwh_from_j
from tests.build import a_record, a_site, without

WATER = {"fluid": "water", "concentration_frac": 0.0}


def flow_of(record, *, site=None, channels=None):
    return heat_flow(
        site=site or a_site(),
        record=record,
        channels=frozenset(record.columns) if channels is None else channels,
    )


def heat_kwh(record, **given):
    power = flow_of(record, **given).power_w
    known = np.isfinite(power)
    return float(kwh_from_j(float((power[known] * record.step_s[known]).sum())))


def running(**given):
    """Give an hour of even running."""
    return a_record(
        **{"rows": 60, "step_s": 60, "loop_hot": 55.0, "loop_cold": 45.0, "flow": 2.0, **given}
    )


def test_power_is_mass_flow_times_specific_heat_times_spread():
    # Water at 45 C: 990.2 kg/m3; mean 45..55 C: 4181 J/(kg K) (IAPWS-95, from memory).
    power = flow_of(running(), site=a_site(loop=WATER)).power_w
    assert power == pytest.approx(2.0 / 60_000.0 * 990.2 * 4181.0 * 10.0, rel=1e-3)


@pytest.mark.parametrize("factor", [0.5, 2.0, 3.0])
def test_so_many_times_the_flow_is_so_many_times_the_heat(factor):
    one, other = heat_kwh(running()), heat_kwh(running(flow=2.0 * factor))
    assert other == pytest.approx(factor * one, rel=1e-12)


def test_two_halves_are_the_whole():
    rng = np.random.default_rng(1)
    whole = running(loop_hot=50 + 10 * rng.random(60), flow=3 * rng.random(60))
    halves = heat_kwh(whole.part(0, 23)) + heat_kwh(whole.part(23, 60))
    assert halves == pytest.approx(heat_kwh(whole), rel=1e-12)


@pytest.mark.parametrize("name", ["flow", "loop_hot", "loop_cold"])
def test_a_missing_value_makes_its_row_unknown_and_no_other(name):
    values = np.full(60, {"flow": 2.0, "loop_hot": 55.0, "loop_cold": 45.0}[name])
    values[10:20] = np.nan
    power = flow_of(running(**{name: values})).power_w
    assert np.isnan(power[10:20]).all()
    assert power[:10] == pytest.approx(flow_of(running()).power_w[:10])
    assert np.isfinite(power[20:]).all()


def test_a_pump_that_is_off_moves_nothing_where_the_meter_is_silent():
    flow = np.full(60, 2.0)
    flow[10:20] = np.nan
    pump = np.full(60, 100.0)
    pump[10:15] = 0.0
    power = flow_of(running(flow=flow, pump=pump)).power_w
    assert (power[10:15] == 0.0).all()
    assert np.isnan(power[15:20]).all()


def test_a_loop_at_rest_delivers_nothing_whatever_the_temperatures_say():
    assert heat_kwh(running(flow=0.0)) == 0.0
    unknown = running(flow=0.0, loop_hot=np.nan)
    assert (flow_of(unknown).power_w == 0.0).all()


def test_the_zero_of_a_meter_is_no_flow():
    assert heat_kwh(running(flow=0.01)) == 0.0


def test_flow_the_wrong_way_round_takes_heat_out():
    assert heat_kwh(running(flow=-2.0)) == pytest.approx(-heat_kwh(running()), rel=1e-12)


def test_cold_fluid_from_the_roof_counts_negative():
    assert heat_kwh(running(loop_hot=35.0, loop_cold=45.0)) < 0.0


def test_warm_fluid_rising_to_a_cold_roof_counts_negative_though_the_meter_has_no_sign():
    night = running(pump=0.0, collector=30.0)
    assert heat_kwh(night) == pytest.approx(-heat_kwh(running()), rel=1e-12)
    # With a hot roof the same reading is heat that comes down by gravity.
    assert heat_kwh(running(pump=0.0, collector=60.0)) == pytest.approx(heat_kwh(running()))


def test_density_belongs_to_the_pipe_with_the_meter():
    cold = heat_kwh(running(), site=a_site(loop=WATER))
    hot = heat_kwh(running(), site=a_site(loop=WATER, sensors={"flow_in": "hot"}))
    # Density of water at 45 and 55 C: 990.2 and 985.7 kg/m3 (IAPWS-95, from memory).
    assert hot / cold == pytest.approx(985.7 / 990.2, rel=2e-4)


def test_forty_percent_glycol_carries_less_than_water():
    # 1 m3 in the return, 60/45 C, 3 bar: 17.255 kWh water, 16.141 kWh with 40 % propylene glycol by
    # mass (Melinder correlation as in CoolProp INCOMP::MPG).
    hour = running(loop_hot=60.0, loop_cold=45.0, flow=1000.0 / 60.0)
    assert heat_kwh(hour, site=a_site(loop=WATER)) == pytest.approx(17.255, rel=1e-3)
    assert heat_kwh(hour) == pytest.approx(16.141, rel=3e-3)


@pytest.mark.parametrize(
    ("hot_c", "cold_c", "flow_in", "coefficient"),
    [
        # kWh/(m3 K), water at 16 bar, form of EN 1434-1 Annex A with IAPWS-95 values.
        (50, 40, "hot", 1.1471),
        (50, 40, "cold", 1.1519),
        (60, 40, "cold", 1.1523),
        (70, 30, "cold", 1.1566),
        (80, 20, "hot", 1.1293),
        (90, 50, "cold", 1.1501),
    ],
)
def test_heat_coefficient_of_water(hot_c, cold_c, flow_in, coefficient):
    hour = running(loop_hot=float(hot_c), loop_cold=float(cold_c), flow=1000.0 / 60.0)
    site = a_site(loop=WATER, sensors={"flow_in": flow_in})
    # 16 bar against the loop's few: density differs by some 0.05 %.
    assert heat_kwh(hour, site=site) == pytest.approx(coefficient * (hot_c - cold_c), rel=1.5e-3)


def test_the_best_basis_a_log_offers_is_taken():
    assert heat_basis(frozenset({"flow", "loop_hot", "loop_cold", "heat_register"})) == (
        "flow_and_temperatures"
    )
    assert heat_basis(frozenset({"heat_register", "pump", "loop_hot", "loop_cold"})) == (
        "heat_register"
    )
    assert heat_basis(frozenset({"pump", "collector", "store_bottom"})) == (
        "pump_and_store_temperature"
    )
    assert heat_basis(frozenset({"collector", "store_bottom"})) is None


@pytest.mark.parametrize(("name", "needs"), BASES)
def test_every_basis_gives_what_its_channels_allow(name, needs):
    values = {
        "flow": 2.0, "loop_hot": 55.0, "loop_cold": 45.0, "flow_volume": np.arange(60) * 2.0,
        "heat_register": np.arange(60) * 0.02, "heat_power": 1200.0, "pump": 100.0,
        "collector": 65.0, "store_bottom": 45.0,
    }  # fmt: skip
    record = a_record(rows=60, step_s=60, **{key: values[key] for key in needs})
    heat = flow_of(record)
    assert heat.basis == name
    assert np.nanmin(heat.power_w[1:]) > 0.0
    assert sum(float(np.nansum(part)) for part in heat.u_w.values()) > 0.0


def test_nothing_known_is_unknown_not_zero():
    heat = flow_of(a_record(rows=10, collector=60.0))
    assert heat.basis is None
    assert np.isnan(heat.power_w).all()


def test_the_basis_does_not_change_with_the_gaps_of_a_day():
    rested = without(running(heat_register=np.arange(60) * 0.1), "flow")
    heat = flow_of(rested, channels=frozenset({"flow", "loop_hot", "loop_cold", "heat_register"}))
    assert heat.basis == "flow_and_temperatures"
    assert np.isnan(heat.power_w).all()


def test_a_volume_register_gives_the_heat_of_its_flow():
    register = running(flow_volume=1000.0 + 2.0 * np.arange(60))
    register = without(register, "flow")
    power = flow_of(register).power_w
    assert power[1:] == pytest.approx(flow_of(running()).power_w[1:])


def test_volume_counted_across_a_hole_is_not_heat_of_the_row_after_it():
    stamps = [*range(0, 1800, 60), *range(9000, 10800, 60)]
    base = np.array(stamps)
    record = a_record(
        stamp_s=stamps, loop_hot=55.0, loop_cold=45.0, flow_volume=2.0 * base / 60.0 + 500.0
    )
    even = float(flow_of(running()).power_w[0])
    power = flow_of(record).power_w
    assert np.nanmax(power) == pytest.approx(even)
    assert np.isnan(power[30])


def register_record(values, *, step_s=60, stamp_s=None):
    return a_record(
        rows=len(values), step_s=step_s, stamp_s=stamp_s, heat_register=np.asarray(values, float)
    )


def test_a_heat_register_is_taken_at_its_word():
    rising = 4000.0 + 0.02 * np.arange(61)
    assert heat_kwh(register_record(rising)) == pytest.approx(60 * 0.02, rel=1e-9)


def test_a_register_that_was_reset_loses_one_step_and_invents_nothing():
    rising = 0.02 * np.arange(120)
    reset = np.concatenate([4000.0 + rising, rising])
    # One step at the reset is unknown; nothing else is.
    assert heat_kwh(register_record(reset)) == pytest.approx(2 * 119 * 0.02, rel=1e-9)


def test_a_register_that_rolled_over_loses_nothing():
    counted = (99_999.0 + 0.02 * np.arange(120)) % 100_000.0
    assert heat_kwh(register_record(counted)) == pytest.approx(119 * 0.02, rel=1e-6)


def test_heat_counted_across_a_hole_was_not_logged():
    stamps = [*range(0, 3600, 60), *range(36000, 39600, 60)]
    rising = 4000.0 + 0.02 * np.array(stamps) / 60.0
    record = register_record(rising, stamp_s=stamps)
    heat = flow_of(record)
    assert np.isnan(heat.power_w[60])
    assert heat_kwh(record) == pytest.approx(118 * 0.02, rel=1e-9)


def test_a_pump_on_a_log_without_meter_stands_for_the_commissioned_flow():
    site = a_site()
    estimated = heat_kwh(without(running(pump=50.0), "flow"), site=site)
    metered = heat_kwh(running(flow=0.5 * site.loop.flow_l_min), site=site)
    assert estimated == pytest.approx(metered, rel=1e-12)


def test_an_estimate_says_less_than_a_meter():
    def share(record):
        heat = flow_of(record)
        return {name: float(np.nansum(part) / np.nansum(heat.power_w)) for name, part in
                heat.u_w.items()}  # fmt: skip

    assert share(without(running(pump=100.0), "flow"))["flow"] > 4 * share(running())["flow"]


def test_more_than_any_sun_gives_is_no_heat():
    hot = a_record(rows=10, pump=100.0, collector=190.0, store_bottom=30.0)
    assert np.nansum(flow_of(hot).power_w) == 0.0


def test_a_coil_hands_over_more_of_a_slower_flow():
    share = coil_effectiveness(np.array([0.5, 1.0, 2.0]))
    assert np.all(np.diff(share) < 0.0)
    assert np.all((share > 0.0) & (share < 1.0))
    assert np.isnan(coil_effectiveness(np.nan))


def test_a_power_that_the_logger_worked_out_is_passed_on():
    record = a_record(rows=60, step_s=60, heat_power=1200.0)
    assert heat_kwh(record) == pytest.approx(1.2)


def test_strapped_on_sensors_say_less_than_sensors_in_pockets():
    strapped = flow_of(running()).u_w["method"]
    site = replace(a_site(), sensors=replace(a_site().sensors, strapped_on=False))
    assert (flow_of(running(), site=site).u_w["method"] == 0.0).all()
    assert (strapped > 0.0).all()
