"""What the simulated logger writes: errors, steps, means, files, the same from the same seed."""

import functools
from datetime import date

import numpy as np
import pytest

from analysis.sitefile import parse_site
from fixtures.fleet import DEMO_SITES, Calendar, demo_files
from fixtures.logfile import controller_csv, tidy_csv
from fixtures.scenario import home, site_toml
from fixtures.sensors import SensorErrors, draw_errors, observe
from fixtures.simulate import Run, simulate


@functools.cache
def spring() -> Run:
    # Holds the missing hour of the European spring, 30 March 2025.
    return simulate(home(), seed=3, start="2025-03-27", days=6)


def test_same_seed_gives_the_same_run_and_another_seed_another() -> None:
    again = simulate(home(), seed=3, start="2025-03-27", days=6)
    for name, values in spring().signals.items():
        assert np.array_equal(values, again.signals[name]), name
    other = simulate(home(), seed=4, start="2025-03-27", days=6)
    assert not np.array_equal(other.signals["ambient"], again.signals["ambient"])
    logs = [observe(run, seed=9, sensors="site", gap_share=0.05) for run in (spring(), again)]
    assert tidy_csv(logs[0]) == tidy_csv(logs[1])


def test_days_are_local_and_the_short_one_has_23_hours() -> None:
    run = spring()
    assert run.start_s.size == (6 * 24 - 1) * 60
    daily = run.daily_truth()
    assert list(daily) == [date(2025, 3, 27 + k) for k in range(5)] + [date(2025, 4, 1)]
    assert sum(daily.values()) == pytest.approx(run.truth["delivered_w"].sum() / 60_000)


def test_perfect_samples_are_the_signals_at_the_stamps() -> None:
    run = spring()
    log = observe(run, seed=1, step_s=300)
    assert np.array_equal(log.stamp_s, log.start_s + 300)
    assert np.array_equal(log.columns["loop_hot"], run.signals["loop_hot"][4::5])


def test_means_are_means_of_the_step_and_registers_are_not() -> None:
    run = spring()
    log = observe(
        run, seed=1, step_s=600, values="mean", channels=("flow", "heat_register", "collector")
    )
    assert log.columns["flow"] == pytest.approx(run.means["flow"].reshape(-1, 10).mean(axis=1))
    assert np.array_equal(log.columns["heat_register"], run.signals["heat_register"][9::10])


def test_minute_means_lie_within_the_minutes_samples_outdoors() -> None:
    run = spring()
    for name in ("ambient", "irradiance_plane"):
        ends = run.signals[name]
        assert run.means[name][1:] == pytest.approx(0.5 * (ends[1:] + ends[:-1]))


def test_class_b_errors_fill_a_rectangle_and_stay_constant() -> None:
    draws = [draw_errors(home(), rng=np.random.default_rng(k)) for k in range(400)]
    errors = np.array([d.constant_k["loop_hot"] for d in draws])
    assert np.abs(errors).max() <= 0.30
    assert errors.std() == pytest.approx(0.30 / np.sqrt(3), rel=0.06)
    run = spring()
    read = observe(run, seed=1, sensors=draws[0], noisy=False, quantised=False)
    true = run.signals["loop_hot"]
    share = draws[0].constant_k["loop_hot"] / 0.30
    assert read.columns["loop_hot"] - true == pytest.approx(share * (0.30 + 0.005 * np.abs(true)))


def test_stated_95_per_cent_limits_are_normal() -> None:
    scenario = home(temperature_class=0.5, flow_percent=6.0, irradiance_percent=4.0)
    draws = [draw_errors(scenario, rng=np.random.default_rng(k)) for k in range(600)]
    kelvin = np.array([d.constant_k["collector"] for d in draws])
    flow = np.array([d.factor["flow"] for d in draws])
    light = np.array([d.factor["irradiance_plane"] for d in draws])
    assert np.mean(np.abs(kelvin) < 0.5) == pytest.approx(0.95, abs=0.03)
    assert np.mean(np.abs(flow - 1) < 0.06) == pytest.approx(0.95, abs=0.03)
    assert np.mean(np.abs(light - 1) < 0.04) == pytest.approx(0.95, abs=0.03)


def test_errors_can_be_laid_over_one_truth_many_times() -> None:
    run = spring()
    plain = observe(run, seed=1)
    skewed = observe(run, seed=1, sensors=SensorErrors(factor={"flow": 1.1}), noisy=False,
                     quantised=False)  # fmt: skip
    assert skewed.columns["flow"] == pytest.approx(1.1 * plain.columns["flow"])
    assert np.array_equal(skewed.columns["collector"], plain.columns["collector"])


def test_quantised_readings_are_whole_tenths() -> None:
    log = observe(spring(), seed=1, sensors="site")
    tenths = log.columns["collector"] * 10
    assert np.abs(tenths - np.round(tenths)).max() < 1e-6


def test_gaps_and_repeats_are_where_they_were_asked_for() -> None:
    run = spring()
    log = observe(run, seed=1, gap_share=0.1, duplicate_share=0.02)
    distinct = np.unique(log.start_s).size
    assert 0.5 < distinct / run.start_s.size < 0.9
    assert log.start_s.size == distinct + int(0.02 * distinct)
    assert np.all(np.diff(log.stamp_s) >= 0)


def test_register_counts_up_from_zero_again_after_a_reset() -> None:
    run = spring()
    log = observe(run, seed=1, channels=("heat_register",), register_zero_at="2025-03-30")
    falls = np.flatnonzero(np.diff(log.columns["heat_register"]) < 0)
    assert falls.size == 1
    total = run.signals["heat_register"][-1]
    at = falls[0]
    assert log.columns["heat_register"][at] + log.columns["heat_register"][-1] == pytest.approx(
        total, abs=1e-6
    )


def test_tidy_log_reads_back_to_the_same_numbers() -> None:
    log = observe(spring(), seed=1, step_s=300)
    lines = tidy_csv(log).decode().splitlines()
    assert lines[0].startswith("time,t_collector_c,t_loop_hot_c")
    assert lines[1].startswith("2025-03-27T00:05:00Z,")
    column = lines[0].split(",").index("flow_l_min")
    flows = [float(line.split(",")[column]) for line in lines[1:]]
    assert flows == pytest.approx(log.columns["flow"].tolist(), abs=1e-5)


def test_controller_dialect_writes_local_time_and_commas_and_its_map() -> None:
    log = observe(spring(), seed=1, sensors="site", step_s=3600)
    data, log_map = controller_csv(log)
    lines = data.decode("cp1252").split("\r\n")
    assert lines[2].startswith("Date/time;F1 Roof [°C];")
    times = [line.split(";")[0] for line in lines[3:] if line]
    assert "30.03.2025 01:00" not in times
    assert "30.03.2025 02:00" in times
    site = parse_site(site_toml(home(), log_map=log_map))
    assert dict(site.log.columns)["Litres [l/h]"].channel == "flow"


def test_every_demo_site_has_a_sound_site_file() -> None:
    calendar = Calendar(last_day=date(2026, 6, 1))
    assert len(DEMO_SITES) >= 12
    assert len({site.slug for site in DEMO_SITES}) == len(DEMO_SITES)
    tubes = set()
    for site in DEMO_SITES:
        read = parse_site(site_toml(site.scenario(calendar)))
        tubes.add(read.tubes)
    assert {16, 18, 24, 30} <= tubes
    assert sum(site.step_s == 60 for site in DEMO_SITES) >= 2
    assert max(site.step_s for site in DEMO_SITES) == 600


@pytest.mark.parametrize("last_day", ["2025-11-24", "2026-02-28", "2026-06-01", "2026-09-30"])
def test_faults_of_the_fleet_lie_inside_its_year(last_day: str) -> None:
    calendar = Calendar(last_day=date.fromisoformat(last_day))
    for site in DEMO_SITES:
        for fault in site.scenario(calendar).faults:
            if fault.kind != "not_yet_fitted":
                assert calendar.first_day.isoformat() < fault.start
            assert (fault.end or fault.start)[:10] <= last_day


def test_demo_site_ends_on_the_day_asked_for() -> None:
    files = demo_files(DEMO_SITES[-1], last_day=date(2026, 6, 1), days=4)
    rows = files.log.decode().splitlines()
    assert rows[1].startswith("2026-05-28T23:10:00Z")  # ten past midnight, British summer time
    assert rows[-1].startswith("2026-06-01T23:00:00Z")
    assert parse_site(files.site_toml).log.values == "sample"


def test_flow_sensor_in_the_hot_pipe_reads_the_same_mass_as_more_litres() -> None:
    hot = simulate(home(flow_in="hot"), seed=3, start="2025-03-27", days=6)
    cold = spring()
    at = cold.signals["flow"] > 0
    warmer = at & (cold.signals["loop_hot"] > cold.signals["loop_cold"] + 5)
    ratio = hot.signals["flow"][warmer] / cold.signals["flow"][warmer]
    assert ratio.min() > 1.001
    assert np.array_equal(hot.truth["delivered_w"], cold.truth["delivered_w"])
