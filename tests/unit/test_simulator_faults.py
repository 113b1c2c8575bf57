"""Each injected fault changes the truth the way its physics says."""

import functools
from datetime import date

import numpy as np
import pytest

from fixtures.faults import Fault
from fixtures.scenario import home
from fixtures.sensors import observe
from fixtures.simulate import Run, simulate

WHEN = {"start": "2025-05-10", "end": "2025-05-20"}


@functools.cache
def run_with(*faults: Fault) -> Run:
    return simulate(home(faults=faults), seed=5, start="2025-05-01", days=40)


def heat_kwh(run: Run, *, of: str = "delivered_w", days: range = range(10, 20)) -> float:
    daily = run.daily_truth(of=of)
    return sum(daily[date(2025, 5, day)] for day in days)


def during(run: Run) -> np.ndarray:
    days = [d for d in run.daily_truth() if "2025-05-10" <= d.isoformat() < "2025-05-20"]
    first = (days[0] - run.first_day).days * 1440
    return np.arange(run.start_s.size)[first : first + len(days) * 1440]


def test_same_year_is_lived_through_before_and_long_after_a_fault() -> None:
    sound, broken = run_with(), run_with(Fault(kind="pump_dead", **WHEN))
    assert heat_kwh(sound, days=range(1, 10)) == heat_kwh(broken, days=range(1, 10))
    assert np.array_equal(sound.signals["irradiance_plane"], broken.signals["irradiance_plane"])
    late = [date(2025, 6, day) for day in range(4, 9)]
    after = [sum(run.daily_truth()[day] for day in late) for run in (sound, broken)]
    assert after[0] == pytest.approx(after[1], rel=0.02)


def test_dead_pump_is_commanded_but_moves_nothing() -> None:
    run = run_with(Fault(kind="pump_dead", **WHEN))
    at = during(run)
    assert heat_kwh(run) == 0.0
    assert run.signals["pump"][at].max() == 100.0
    assert run.signals["flow"][at].max() == 0.0
    assert run.signals["collector"][at].max() > run_with().signals["collector"][at].max()


def test_dead_controller_never_commands() -> None:
    run = run_with(Fault(kind="pump_never_commanded", **WHEN))
    assert run.signals["pump"][during(run)].max() == 0.0
    assert heat_kwh(run) == 0.0


def test_airlock_leaves_a_trickle() -> None:
    run = run_with(Fault(kind="airlock", **WHEN))
    assert 0 < run.signals["flow"][during(run)].max() < 0.1
    assert heat_kwh(run) < 0.6 * heat_kwh(run_with())


def test_leaking_check_valve_carries_heat_to_the_roof_at_night_only() -> None:
    run = run_with(Fault(kind="reverse_circulation", **WHEN))
    at = during(run)
    dark = at[run.signals["irradiance_plane"][at] < 1]
    assert heat_kwh(run, of="reversed_w") > 2.0
    assert run.signals["flow"][dark].min() < -0.1
    warmer = run.signals["loop_hot"][dark].mean() - run_with().signals["loop_hot"][dark].mean()
    assert warmer > 10
    bright = at[run.signals["irradiance_plane"][at] > 500]
    assert (run.signals["flow"][bright] >= 0).mean() > 0.95


def test_tubes_without_vacuum_cost_more_the_more_there_are() -> None:
    heats = [
        heat_kwh(run_with(Fault(kind="tubes_without_vacuum", tubes=n, **WHEN))) for n in (2, 5, 10)
    ]
    assert heat_kwh(run_with()) > heats[0] > heats[1] > heats[2]


def test_missing_tubes_and_dirt_take_their_share_of_light() -> None:
    sound = heat_kwh(run_with(), of="absorbed_w")
    missing = heat_kwh(run_with(Fault(kind="tubes_missing", tubes=6, **WHEN)), of="absorbed_w")
    soiled = heat_kwh(run_with(Fault(kind="soiling", value=0.1, **WHEN)), of="absorbed_w")
    assert missing == pytest.approx(sound * 12 / 18, rel=1e-6)
    assert soiled == pytest.approx(sound * 0.9, rel=1e-6)


def test_array_without_tubes_gives_nothing() -> None:
    run = run_with(Fault(kind="not_yet_fitted", **WHEN))
    # Warm air may start the pump on a cold store: some minutes, no heat to speak of.
    assert heat_kwh(run) == pytest.approx(0.0, abs=0.2)
    assert heat_kwh(run, of="absorbed_w") == 0.0
    # Without tubes the manifold follows the day, never the sun.
    at = during(run)[1440:]
    assert np.all(run.signals["collector"][at] < run.signals["ambient"][at].max() + 5)


def test_obstacle_takes_the_beam_but_not_the_sensors_reading() -> None:
    run = run_with(Fault(kind="shading", azimuth_deg=(90, 180), elevation_deg=60, **WHEN))
    assert heat_kwh(run, of="absorbed_w") < 0.8 * heat_kwh(run_with(), of="absorbed_w")
    assert np.array_equal(run.signals["irradiance_plane"], run_with().signals["irradiance_plane"])


def test_controller_stops_on_an_open_sensor_and_obeys_a_stuck_one() -> None:
    opened = run_with(Fault(kind="sensor_open", channel="collector", value=999.9, **WHEN))
    assert opened.signals["pump"][during(opened)].max() == 0
    stuck = run_with(
        Fault(kind="sensor_stuck", channel="collector", start="2025-05-10T14:00", end=WHEN["end"])
    )
    dark = during(stuck)[stuck.signals["irradiance_plane"][during(stuck)] < 1]
    assert stuck.signals["pump"][dark].max() > 0


def test_empty_house_fills_the_store_and_stands_still() -> None:
    run = run_with(Fault(kind="holiday_full_store", **WHEN))
    assert heat_kwh(run, of="drawn_w") == 0
    assert heat_kwh(run) < 0.6 * heat_kwh(run_with())
    assert run.signals["collector"][during(run)].max() > 115


def test_leak_lowers_the_pressure() -> None:
    run = run_with(Fault(kind="pressure_leak", **WHEN))
    at = during(run)
    fall = run.signals["pressure"][at[:1440]].mean() - run.signals["pressure"][at[-1440:]].mean()
    assert fall == pytest.approx(0.27, abs=0.05)


def test_what_is_let_out_at_once_stays_out_until_the_loop_is_topped_up() -> None:
    run, sound = (run_with(*fault) for fault in ((Fault(kind="pressure_step", **WHEN),), ()))
    fall = sound.signals["pressure"] - run.signals["pressure"]
    at = during(run)
    assert np.median(fall[at]) == pytest.approx(0.5, abs=0.05)
    assert not fall[at[-1] + 1 :].any()


def test_a_vessel_that_lost_half_its_gas_swings_twice_as_far() -> None:
    run = run_with(Fault(kind="vessel_charge_lost", value=0.5, **WHEN))
    at = during(run)
    # About the fill, with the gas as warm as it was when filled (15 °C).
    swing = [(1.0 / (one.signals["pressure"][at] + 1.013)).std() for one in (run, run_with())]
    assert 1.5 < swing[0] / swing[1] < 2.1


def test_a_valve_that_opened_leaves_the_cold_loop_with_less() -> None:
    hot = home(
        away=(("2025-05-03", "2025-05-30"),),
        collector="direct_flow",
        heat_pipe_start_c=None,
        heat_pipe_limit_c=None,
        vessel_l=4.0,
        safety_valve_bar=3.0,
    )
    pressure = simulate(hot, seed=5, start="2025-05-01", days=30).signals["pressure"]
    assert pressure.max() == pytest.approx(3.0, abs=1e-9)
    assert pressure[-1440:].min() < pressure[:1440].min() - 0.2


@pytest.mark.parametrize(
    ("kind", "value", "while_running", "at_rest"),
    [
        ("flow_reads_low", 0.5, lambda flow: 0.5 * flow, 0.0),
        ("flow_dead", None, lambda flow: 0.0 * flow, 0.0),
        ("flow_stuck", 0.9, lambda flow: 0.0 * flow + 0.9, 0.9),
        ("ghost_flow", 0.4, lambda flow: flow, 0.4),
    ],
)
def test_a_wrong_meter_shows_what_does_not_flow(kind, value, while_running, at_rest) -> None:
    run = run_with(Fault(kind=kind, value=value, **WHEN))
    log, at = observe(run, seed=1, channels=("flow", "flow_volume")), during(run)
    true, read = run.signals["flow"], log.columns["flow"]
    running = at[true[at] > 0.0]
    assert read[running] == pytest.approx(while_running(true[running]))
    assert np.all(read[at[true[at] == 0.0]] == at_rest)
    assert np.array_equal(read[: at[0]], true[: at[0]])
    counted = np.diff(log.columns["flow_volume"][[at[0], at[-1]]])[0]
    assert counted == pytest.approx(read[at].sum(), rel=0.01, abs=2.0)


def test_a_meter_that_reads_low_counts_as_much_less_heat() -> None:
    run = run_with(Fault(kind="flow_reads_low", value=0.5, **WHEN))
    register = observe(run, seed=1, channels=("heat_register",)).columns["heat_register"]
    at = during(run)
    assert register[at[-1]] - register[at[0]] == pytest.approx(0.5 * heat_kwh(run_with()), rel=0.02)


@pytest.mark.parametrize(
    ("kind", "value", "reads"),
    [("sensor_open", 999.9, 999.9), ("sensor_open", -99.0, -99.0), ("sensor_open", None, np.nan)],
)
def test_open_sensor_reads_off_the_scale(kind: str, value: float, reads: float) -> None:
    run = run_with(Fault(kind=kind, channel="loop_hot", value=value, **WHEN))
    log = observe(run, seed=1)
    assert np.array_equal(
        log.columns["loop_hot"][during(run)], np.full(during(run).size, reads), equal_nan=True
    )


def test_stuck_sensor_keeps_the_value_of_its_moment() -> None:
    run = run_with(Fault(kind="sensor_stuck", channel="ambient", **WHEN))
    read = observe(run, seed=1).columns["ambient"]
    at = during(run)
    assert np.all(read[at] == run.signals["ambient"][at[0]])


def test_offset_and_drift_add_to_the_reading() -> None:
    run = run_with(
        Fault(kind="sensor_offset", channel="store_top", value=4.0, **WHEN),
        Fault(kind="sensor_drift", channel="ambient", value=3.0, **WHEN),
    )
    log, at = observe(run, seed=1), during(run)
    assert log.columns["store_top"][at] == pytest.approx(run.signals["store_top"][at] + 4.0)
    last = log.columns["ambient"][at[-1]] - run.signals["ambient"][at[-1]]
    assert last == pytest.approx(3.0 * 10 / 30, rel=0.01)


def test_silence_is_a_hole_in_the_log_not_in_the_plant() -> None:
    run = run_with(Fault(kind="silence", **WHEN))
    log = observe(run, seed=1)
    assert log.start_s.size == run.start_s.size - 10 * 1440
    assert heat_kwh(run) == heat_kwh(run_with())


def test_a_store_limit_that_is_off_moves_where_charging_ends() -> None:
    hottest = {
        kind: run_with(Fault(kind=kind, **WHEN)).signals["store_bottom"][during(run_with())].max()
        for kind in ("limit_raised", "limit_lowered", "silence")
    }
    assert hottest["limit_lowered"] < 46.0
    assert hottest["limit_lowered"] < hottest["silence"] <= hottest["limit_raised"]


def test_a_stuck_mixing_valve_lets_the_stores_water_through() -> None:
    run = run_with(Fault(kind="mixing_valve_stuck", **WHEN))
    at = during(run)
    assert run_with().signals["hot_tap"].max() <= 48.0
    assert 55.0 < run.signals["hot_tap"][at].max() <= run.signals["store_top"].max() + 0.5


def test_a_dead_backup_gives_nothing_and_one_let_loose_gives_more() -> None:
    def given(kind: str) -> float:
        return heat_kwh(run_with(Fault(kind=kind, **WHEN)), of="backup_w")

    assert given("backup_dead") == 0.0
    assert given("backup_overlap") > heat_kwh(run_with(), of="backup_w") > 0.0


def test_a_poor_coil_leaves_the_loop_hot_and_costs_heat() -> None:
    sound, limed = run_with(), run_with(Fault(kind="poor_heat_transfer", **WHEN))
    at = during(sound)
    over = [
        float(
            np.mean((run.signals["loop_hot"] - run.signals["store_bottom"])[at][running(run, at)])
        )
        for run in (sound, limed)
    ]
    assert over[1] > 1.6 * over[0]
    assert 0.8 * heat_kwh(sound) < heat_kwh(limed) < 0.985 * heat_kwh(sound)


def test_bare_pipes_lose_more_on_the_way_down() -> None:
    sound, bare = run_with(), run_with(Fault(kind="pipe_heat_loss", **WHEN))
    at = during(sound)
    fall = [
        float(np.mean((run.signals["collector"] - run.signals["loop_hot"])[at][running(run, at)]))
        for run in (sound, bare)
    ]
    assert fall[1] > 1.7 * fall[0]
    assert heat_kwh(bare) < 0.96 * heat_kwh(sound)


def running(run: Run, at: np.ndarray) -> np.ndarray:
    return run.signals["pump"][at] > 70.0


def test_swapped_sensors_change_places_in_the_log_and_not_in_the_plant() -> None:
    swap = Fault(
        kind="sensors_swapped",
        channel="loop_hot",
        other="loop_cold",
        seen_by_controller=False,
        **WHEN,
    )
    sound, run = run_with(), run_with(swap)
    at = during(run)
    assert heat_kwh(run) == heat_kwh(sound)
    logged = observe(run, seed=5, sensors="perfect", step_s=60).columns
    true = observe(sound, seed=5, sensors="perfect", step_s=60).columns
    assert np.array_equal(logged["loop_hot"][at], true["loop_cold"][at])
    assert np.array_equal(logged["loop_cold"][at], true["loop_hot"][at])
    assert np.array_equal(logged["loop_hot"][: at[0]], true["loop_hot"][: at[0]])
    # The plug changes places though the other one is not logged.
    alone = observe(run, seed=5, sensors="perfect", step_s=60, channels=("loop_hot",)).columns
    assert list(alone) == ["loop_hot"]
    assert np.array_equal(alone["loop_hot"], logged["loop_hot"])


def test_swapped_plugs_mislead_the_controller() -> None:
    swap = Fault(kind="sensors_swapped", channel="collector", other="store_bottom", **WHEN)
    run = run_with(swap)
    at = during(run)
    bright = run.signals["irradiance_plane"][at] > 500.0
    assert run.signals["pump"][at][bright].mean() < 5.0
    assert heat_kwh(run) < 0.2 * heat_kwh(run_with())


def test_two_sensors_are_needed_for_a_swap() -> None:
    with pytest.raises(ValueError, match="another channel"):
        Fault(kind="sensors_swapped", channel="collector", start="2025-05-10")
