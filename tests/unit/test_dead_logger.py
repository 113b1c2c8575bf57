"""Rows that a dead logger repeats hold no heat; a plant at rest keeps its nought."""

import numpy as np
import pytest

from analysis.case import case_of
from tests.build import a_clear_day, a_record, a_site, at

CHANNELS = frozenset({"collector", "loop_hot", "loop_cold", "store_bottom", "flow", "pump"})
DAY = a_clear_day(step_s=600, store_top=None)
LIVE = {name: DAY.columns[name] for name in CHANNELS}
# From 9 to 18 h UTC, in the middle of the day's run.
DEAD = slice(54, 108)


def heat_of(**columns):
    record = a_clear_day(step_s=600, **{**LIVE, "store_top": None, **columns})
    return case_of(site=a_site(), record=record, channels=CHANNELS).heat


def frozen(names, value=None, rows=DEAD):
    columns = {}
    for name in names:
        values = LIVE[name].copy()
        values[rows] = values[rows][0] if value is None else value
        columns[name] = values
    return columns


def test_the_day_moves_so_that_freezing_it_changes_something():
    assert len(np.unique(LIVE["collector"][DEAD])) > 10
    assert np.isfinite(heat_of().power_w).all()
    assert (heat_of().power_w[DEAD] > 0.0).any()


@pytest.mark.parametrize("value", [None, 0.0])
def test_a_row_repeated_by_daylight_is_no_heat(value):
    heat = heat_of(**frozen(CHANNELS, value))
    assert np.isnan(heat.power_w[DEAD]).all()
    dead = np.isin(heat.row, np.arange(len(heat.power_w))[DEAD])
    assert dead.any() == (value is None)
    assert not any(part[dead].any() for part in heat.u_w.values())
    assert np.isfinite(np.delete(heat.power_w, DEAD)).all()


def test_a_pump_and_a_flow_at_rest_beside_live_sensors_are_a_true_nought():
    heat = heat_of(**frozen({"pump", "flow"}, 0.0, slice(None)))
    assert (heat.power_w == 0.0).all()


@pytest.mark.parametrize("alive", ["collector", "store_bottom", "pump"])
def test_a_logger_that_still_reads_one_sensor_is_not_dead(alive):
    columns = frozen(CHANNELS - {alive})
    moving = LIVE[alive].copy()
    moving[DEAD] = np.linspace(50.0, 60.0, 54)
    assert np.isfinite(heat_of(**{**columns, alive: moving}).power_w).all()


def test_a_night_without_change_is_left_alone():
    night = slice(0, 36)
    heat = heat_of(**frozen(CHANNELS, rows=night))
    assert np.isfinite(heat.power_w).all()


def test_a_hole_ends_what_repeats():
    # Two calm stretches of four hours with three hours between them are no eleven.
    kept = np.r_[0:54, 54:78, 96:120, 120:144]
    stamps = (at("2025-06-10T00:00") + 600 * np.arange(144))[kept]
    columns = {name: values[kept] for name, values in frozen(CHANNELS, rows=slice(54, 120)).items()}
    record = a_record(stamp_s=stamps, **columns)
    heat = case_of(site=a_site(), record=record, channels=CHANNELS).heat
    assert np.isfinite(heat.power_w).all()
