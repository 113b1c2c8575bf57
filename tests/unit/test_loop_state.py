"""Heat pipes, pipes and what they hold: rules one at a time, invented numbers unless named."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.grid import BIN_S
from analysis.loop_model import LIMIT_BAND_K, TUBE_OVER_FLUID_K, loop_model
from analysis.loop_pipes import ROOM_C, around_pipes_c, pipe_for
from analysis.loop_state import Loop, stored_w
from tests.build import a_site

SHAPE = (1, 6)


def model_of(**facts):
    site = a_site()
    return loop_model(replace(site, arrays=(replace(site.arrays[0], **facts),)))


def a_loop(*, roof, mean, moving, spread=0.0, air=10.0):
    """Lay a loop by hand; a number stands for all bins."""

    def bins(values):
        return np.broadcast_to(np.asarray(values, dtype=np.float64), SHAPE).copy()

    flags = np.zeros(SHAPE, dtype=np.bool_)
    return Loop(
        heat_w=bins(0.0),
        known_s=bins(BIN_S),
        moving_frac=bins(moving),
        per_k_w_k=bins(0.0),
        trickle=flags,
        commanded=flags,
        t_mean_c=bins(mean),
        spread_k=bins(spread),
        t_roof_c=bins(roof),
        t_ambient_c=bins(air),
        t_store_bottom_c=bins(30.0),
        t_store_hottest_c=bins(50.0),
        t_store_held_c=bins(50.0),
    )


def test_a_heat_pipe_loses_no_less_in_a_cold_loop_than_where_it_begins_to_work():
    """Start near 30 °C, 8 K over the fluid: common practice, no source."""
    model = model_of(heat_pipe_start_c=30.0)
    cold, start = np.array([5.0, 15.0]), 30.0 - TUBE_OVER_FLUID_K
    at_start = model.running_loss_w(np.array([start]), np.array([0.0]))
    np.testing.assert_allclose(model.running_loss_w(cold, np.zeros(2)), at_start[0])
    direct = model_of(collector="direct_flow", heat_pipe_start_c=None)
    loss = direct.running_loss_w(cold, np.zeros(2))
    assert loss[0] < loss[1] < at_start[0]


def test_the_running_loss_is_that_of_the_collector_equation():
    """ISO 9806, a1 and a2 on the area; heat pipes above their start."""
    model, area = model_of(a1_w_m2k=1.4, a2_w_m2k2=0.006), a_site().area_m2
    found = model.running_loss_w(np.array([60.0]), np.array([10.0]))
    assert found[0] == pytest.approx(area * (1.4 * 50.0 + 0.006 * 50.0**2))


def test_a_limited_heat_pipe_hands_over_nothing_at_its_limit():
    model = model_of(heat_pipe_limit_c=130.0)
    at = np.array([60.0, 130.0 - LIMIT_BAND_K, 130.0 - LIMIT_BAND_K / 2.0, 130.0, 150.0])
    np.testing.assert_allclose(model.let_through_frac(at), [1.0, 1.0, 0.5, 0.0, 0.0])
    free = model_of(heat_pipe_limit_c=None)
    np.testing.assert_allclose(free.let_through_frac(at), 1.0)


def test_only_a_field_of_heat_pipes_is_one_way():
    assert model_of().one_way
    assert not model_of(collector="direct_flow").one_way


@pytest.mark.parametrize(("flow", "outer_mm", "cover_mm"), [(1.6, 15, 20), (8.0, 22, 20)])
def test_a_pipe_loses_what_thin_shells_in_series_let_through(flow, outer_mm, cover_mm):
    """Fourier's law summed over shells of a cylinder, with a film outside (ISO 12241's setting)."""
    edges = np.linspace(outer_mm / 2e3, outer_mm / 2e3 + cover_mm / 1e3, 20001)
    middles = 0.5 * (edges[1:] + edges[:-1])
    resistance = (np.diff(edges) / (2.0 * np.pi * middles * 0.040)).sum()
    resistance += 1.0 / (2.0 * np.pi * edges[-1] * 10.0)
    pipe = pipe_for(flow_l_min=flow, fluid_j_m3k=3.9e6)
    assert pipe.loss_w_mk == pytest.approx(1.0 / resistance, rel=1e-6)


def test_a_larger_flow_has_a_larger_pipe():
    small, large = (pipe_for(flow_l_min=flow, fluid_j_m3k=3.9e6) for flow in (1.6, 8.0))
    assert large.capacity_j_mk > small.capacity_j_mk
    assert large.loss_w_mk > small.loss_w_mk


def test_around_the_pipes_is_between_room_and_outdoors():
    found = around_pipes_c(np.array([0.0, ROOM_C, np.nan]))
    np.testing.assert_allclose(found, [ROOM_C / 2.0, ROOM_C, ROOM_C])


def test_the_collector_is_half_a_spread_cooler_than_its_sensor_while_fluid_moves():
    moving = [0.0, 0.0, 1.0, 1.0, 0.5, 0.0]
    found = a_loop(roof=50.0, mean=40.0, moving=moving, spread=10.0).t_inside_c
    np.testing.assert_allclose(found[0], [50.0, 50.0, 45.0, 45.0, 47.5, 50.0])
    blind = a_loop(roof=np.nan, mean=40.0, moving=1.0).t_inside_c
    np.testing.assert_allclose(blind, 40.0)


def test_what_is_stored_over_a_run_is_what_its_edges_differ_by():
    """Standing at 60, run down to 40: the collector gives 20 K; the pipe goes from 20 to 40."""
    model = model_of(heat_pipe_limit_c=None)
    carried = np.array([[False, False, True, True, True, True]])
    roof, mean = [60.0, 60.0, 50.0, 40.0, 40.0, 40.0], [20.0, 20.0, 35.0, 40.0, 40.0, 40.0]
    loop = a_loop(roof=roof, mean=mean, moving=carried)
    stored = stored_w(loop=loop, model=model, carried=carried, gain_w=np.zeros(SHAPE))
    given = model.pipe_j_k * 20.0 - model.collector_j_k * 20.0
    assert stored[carried].sum() * BIN_S == pytest.approx(given)


def test_tubes_behind_a_closed_limiter_bring_more_than_their_sensor_shows():
    carried = np.array([[False, False, False, False, True, True]])
    roof = [100.0, 128.0, 129.0, 129.0, 90.0, 70.0]
    loop = a_loop(roof=roof, mean=60.0, moving=carried)
    gain = np.full(SHAPE, 1300.0)
    plain, limited = (
        stored_w(loop=loop, model=model_of(heat_pipe_limit_c=limit), carried=carried, gain_w=gain)
        for limit in (None, 130.0)
    )
    assert limited[0, 4] < plain[0, 4]
    np.testing.assert_allclose(limited[0, 5], plain[0, 5])
    night = np.zeros(SHAPE)
    dark, sensor = (
        stored_w(loop=loop, model=model_of(heat_pipe_limit_c=limit), carried=carried, gain_w=night)
        for limit in (130.0, None)
    )
    np.testing.assert_allclose(dark, sensor)
