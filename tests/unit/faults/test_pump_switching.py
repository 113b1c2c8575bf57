"""Late starts and short cycling: what rows of any step show of the controller's two differences."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.case import case_of
from analysis.faults import Judged, NotJudged
from analysis.faults._switching import running, spells_of
from analysis.faults.start_delayed import StartDelayed
from fixtures.faults import Fault
from fixtures.places import CLIMATES
from tests.build import (
    FULL_LOG,
    PUMP_LOG,
    a_history,
    a_plant,
    a_record,
    a_site,
    a_table,
    fault_of,
    of_kind,
)

pytestmark = pytest.mark.thorough

SPAN = {"start": "2025-05-08", "end": "2025-05-25"}
METERED = ("collector", "store_bottom", "store_top", "pump", "heat_register")


def plant(*kinds, step_s=300, channels=PUMP_LOG, **given):
    faults = tuple(Fault(kind=kind, **SPAN) for kind in kinds)
    return a_plant(start="2025-04-25", days=45, step_s=step_s, channels=channels, faults=faults,
                   **given)  # fmt: skip


def edges_of(logged):
    return logged.table(catalogue=()).days.edge_s


@pytest.mark.parametrize("step_s", [60, 300, 600])
def test_a_start_at_twenty_kelvin_is_found_at_every_step(step_s):
    logged = plant("start_raised", step_s=step_s)
    (found,) = of_kind(logged.report(), "start_delayed")
    # The start put in is 8 + 12 K; rows of ten minutes see it some kelvin lower.
    assert 15.0 < found.evidence[0].value < 20.5
    assert found.evidence[1].value == 8.0
    edges = edges_of(logged)
    assert edges[12] <= found.start_s <= edges[15]
    assert edges[28] <= found.end_s <= edges[31]


def test_a_difference_on_record_that_is_as_large_is_no_fault():
    logged = plant("start_raised")
    known = replace(logged.site.controller, start_difference_k=20.0)
    logged = replace(logged, site=replace(logged.site, controller=known))
    assert logged.conclusion("start_delayed").findings == ()


def test_a_collector_sensor_in_a_cool_place_reads_less_than_the_pipe():
    logged = plant("sensor_cool", channels=FULL_LOG)
    (found,) = of_kind(logged.report(), "start_delayed")
    assert found.evidence[0].what.startswith("hot pipe over collector")
    assert found.evidence[0].value > 4.0
    for item in of_kind(logged.report(), "short_cycling"):
        assert item.suppressed_by == "start_delayed"


@pytest.mark.parametrize(("step_s", "values"), [(60, "sample"), (300, "sample"), (300, "mean")])
def test_a_narrow_band_is_short_cycling_at_every_step(step_s, values):
    logged = plant("hysteresis_small", step_s=step_s, log={"values": values})
    (found,) = of_kind(logged.report(), "short_cycling")
    # A band of 1 K was put in, where 4 K had been.
    assert found.evidence[0].value == pytest.approx(1.0, abs=0.5)
    edges = edges_of(logged)
    assert edges[11] <= found.start_s <= edges[16]
    assert edges[27] <= found.end_s <= edges[32]
    assert found.urgency == "watch"


def test_a_store_that_is_full_every_evening_hides_no_narrow_band():
    # Each morning the top is still as warm as a held-back store's, and the bottom is cool.
    small = {"tubes": 24, "volume_l": 180.0, "litres_per_day": 90.0}
    logged = plant("hysteresis_small", **CLIMATES["mediterranean"], **small)
    (found,) = of_kind(logged.report(), "short_cycling")
    assert found.evidence[0].value == pytest.approx(1.0, abs=0.5)
    edges = edges_of(logged)
    assert edges[11] <= found.start_s <= edges[16]


@pytest.mark.parametrize("kind", ["start_delayed", "short_cycling"])
@pytest.mark.parametrize(
    "given",
    [
        {"away": (("2025-05-01", "2025-05-25"),)},
        {"least_speed": 1.0},
        {"tubes": 30, "volume_l": 200.0, "litres_per_day": 40.0},
        {"collector_cutout_c": 110.0, "away": (("2025-05-01", "2025-05-25"),)},
        {"faults": (Fault(kind="pump_never_commanded", **SPAN),)},
        {"faults": (Fault(kind="pump_dead", **SPAN),)},
    ],
)
def test_full_stores_locks_weather_and_failures_are_neither(kind, given):
    logged = a_plant(start="2025-04-25", days=45, step_s=300, channels=PUMP_LOG, **given)
    conclusion = logged.conclusion(kind)
    assert isinstance(conclusion, Judged)
    assert conclusion.findings == ()


def test_rows_far_apart_do_not_show_how_a_pump_switches():
    conclusion = plant("hysteresis_small", step_s=1800).conclusion("short_cycling")
    assert isinstance(conclusion, NotJudged)
    assert "30 minutes" in conclusion.why


@pytest.mark.parametrize("kind", ["start_delayed", "short_cycling"])
@pytest.mark.parametrize("missing", ["pump", "collector", "store_bottom"])
def test_both_need_pump_collector_and_store(kind, missing):
    channels = tuple(name for name in METERED if name != missing)
    conclusion = a_plant(days=6, channels=channels).conclusion(kind)
    assert isinstance(conclusion, NotJudged)


def test_a_spell_within_a_season_is_the_same_one():
    known = np.arange(0, 60)
    flagged = np.zeros(60, dtype=bool)
    flagged[5:12] = flagged[30:40] = True
    (spell,) = spells_of(known, flagged, least=5)
    assert (spell.days[0], spell.days[-1], spell.over) == (5, 39, True)
    far = known.copy()
    far[30:] += 100
    one, other = spells_of(far, flagged, least=5)
    assert (one.days[-1], other.days[0]) == (11, 130)


def test_running_quantiles_keep_a_step_and_leave_a_stray_out():
    values = np.array([4.0] * 10 + [7.0] * 10)
    values[3] = 90.0
    level = running(values, 0.5, 7)
    np.testing.assert_array_equal(level, [4.0] * 10 + [7.0] * 10)


@pytest.mark.parametrize("step_s", [300, 600])
def test_a_store_that_is_full_every_evening_hides_no_end_of_late_starts(step_s):
    small = {"tubes": 30, "volume_l": 180.0, "litres_per_day": 50.0, "limit_c": 60.0}
    logged = plant("start_raised", step_s=step_s, **CLIMATES["mediterranean"], **small)
    table = logged.table(catalogue=(fault_of("start_delayed"),))
    free, every = (table.column(f"switch_start_{name}") for name in ("k", "bottom_k"))
    # Many mornings after a full store are told by its bottom alone.
    assert np.isfinite(every[13:30]).sum() >= np.isfinite(free[13:30]).sum() + 5
    blind = replace(table, columns={**table.columns, "switch_start_bottom_k": free})
    (found,), (early,) = (
        logged.conclusion("start_delayed", table=one).findings for one in (table, blind)
    )
    assert 14.0 < found.evidence[0].value < 20.5
    edges = table.days.edge_s
    assert edges[12] <= found.start_s <= edges[15]
    assert edges[28] <= found.end_s <= edges[31]
    assert early.end_s < edges[28]


def mornings(starts, *, step_s=60.0, free=np.nan):
    table = a_table(
        switch_start_k=np.broadcast_to(free, len(starts)), switch_start_bottom_k=starts,
        switch_stop_k=np.nan, switch_step_s=step_s, roof_reads_low_k=np.nan, roof_tops_low_k=np.nan,
        seen_pump=1.0, seen_collector=1.0, seen_store_bottom=1.0,
    )  # fmt: skip
    return StartDelayed().conclude(a_history(table)).findings


def test_mornings_after_a_full_store_count_where_they_are_alike():
    alike = np.random.default_rng(1).uniform(19.0, 20.5, 40)
    (found,) = mornings(alike)
    assert found.evidence[0].value == pytest.approx(np.median(alike))
    # One that waits for a draw starts at any difference between its own and `_FAR_K`.
    for seed in range(20):
        assert mornings(np.random.default_rng(seed).uniform(8.0, 45.0, 40)) == ()


def test_rows_further_apart_may_show_mornings_further_apart():
    apart = np.tile([14.5, 16.0, 18.0, 20.0], 10)
    assert mornings(apart, step_s=60.0) == ()
    assert len(mornings(apart, step_s=600.0)) == 1


def cycling(*, pipe_c, pipe_before_c):
    """Give a day of pumping for four minutes in each ten; the collector shows 42 to 50 °C."""
    minute = np.arange(1440)
    day = (minute >= 600) & (minute < 900)
    phase = minute % 10
    on = day & (phase < 4)
    collector = np.where(day, np.where(on, 50.0 - 2.0 * phase, 42.0 + 1.3 * (phase - 4)), 30.0)
    pipe = np.where(on & (phase > 0), pipe_c, pipe_before_c)
    record = a_record(
        rows=1440, step_s=60, collector=collector, store_bottom=40.0, pump=100.0 * on,
        loop_hot=pipe, ambient=20.0,
    )  # fmt: skip
    case = case_of(site=a_site(), record=record, channels=frozenset(record.columns))
    columns = StartDelayed().observe(case).columns
    assert np.isnan(columns["roof_reads_low_k"]).all()  # nothing steady
    return float(np.nanmax(columns["roof_tops_low_k"]))


def test_short_runs_show_a_pipe_that_is_warmer_than_the_collector_was():
    assert cycling(pipe_c=56.0, pipe_before_c=45.0) == pytest.approx(6.0)
    assert cycling(pipe_c=47.0, pipe_before_c=45.0) == pytest.approx(-3.0)


def test_the_stores_warmth_in_the_pipe_is_no_sign_of_a_cool_sensor():
    # A pipe at 60 °C before the run: what is in it in the first three minutes tells nothing.
    minute = np.arange(1440)
    pipe = np.where(minute % 10 < 3, 60.0, np.where(minute % 10 == 3, 48.0, 60.0))
    assert cycling(pipe_c=pipe, pipe_before_c=60.0) == pytest.approx(-2.0)
