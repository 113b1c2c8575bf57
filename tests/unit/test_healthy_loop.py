"""The healthy loop beside a standing one: its balance, its yesterday, and who drew water."""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.expected import drawn_days
from analysis.grid import BIN_S
from analysis.healthy_loop import KEPT_OVERNIGHT, Surroundings, run_healthy_loop
from analysis.loop_model import loop_model
from analysis.units import kwh_from_j
from tests.build import a_site
from tests.unit.test_loop_state import a_loop

BINS = 288
HOURS = (np.arange(BINS) + 0.5) * BIN_S / 3600.0
LOSSLESS = {"a1_w_m2k": 0.0, "a2_w_m2k2": 0.0}


def around(*, days=1, brightest_w=1200.0, store_c=20.0, **changes):
    """Days alike under a clear sky, nothing carried; invented."""
    sun = brightest_w * np.maximum(np.cos((HOURS - 12.0) / 12.0 * np.pi), 0.0)
    shape = (days, BINS)
    no = np.zeros(shape, dtype=np.bool_)
    facts = {
        "gain_w": np.tile(sun, (days, 1)),
        "t_ambient_c": np.full(shape, 20.0),
        "t_store_bottom_c": np.full(shape, store_c),
        "store_full": no,
        "full_of_itself": no,
        "really_carried": no,
        "start_c": np.full(days, 20.0),
        "cold_share": np.ones(days),
        "drawn": np.ones(days, dtype=np.bool_),
        "seen": np.ones(days, dtype=np.bool_),
    }
    return Surroundings(**{**facts, **changes})


def a_home(*, large=True, **array):
    """A store that no single day fills, unless it is small."""
    site = a_site(store={"volume_l": 2000.0 if large else 200.0})
    return replace(site, arrays=(replace(site.arrays[0], **array),))


def kwh_of(site, surroundings):
    run = run_healthy_loop(site=site, model=loop_model(site), around=surroundings)
    return kwh_from_j((run.power_w * BIN_S).sum(axis=1))


def test_without_sun_nothing_is_delivered():
    assert kwh_of(a_home(), around(brightest_w=0.0)) == pytest.approx(0.0, abs=1e-12)


@settings(max_examples=8, deadline=None)
@given(
    brightest=st.floats(100.0, 1500.0),
    store=st.floats(20.0, 55.0),
    a1=st.floats(0.0, 3.0),
)
def test_a_healthy_loop_never_delivers_more_than_the_sun_gave(brightest, store, a1):
    surroundings = around(brightest_w=brightest, store_c=store)
    gain = kwh_from_j(surroundings.gain_w.sum() * BIN_S)
    assert -1e-9 <= kwh_of(a_home(a1_w_m2k=a1), surroundings)[0] <= gain


def test_what_the_sun_gave_went_to_store_pipes_and_collector():
    """Without collector loss, at a room as warm as outdoors, only pipes and capacity keep any."""
    site = a_home(heat_capacity_kj_m2k=0.5, **LOSSLESS)
    site = replace(site, loop=replace(site.loop, pipe_length_m=0.001))
    surroundings = around()
    gain = kwh_from_j(surroundings.gain_w.sum() * BIN_S)
    assert kwh_of(site, surroundings)[0] == pytest.approx(gain, rel=0.01)


def test_a_full_store_takes_nothing():
    full = np.ones((1, BINS), dtype=np.bool_)
    assert kwh_of(a_home(), around(store_full=full, full_of_itself=full))[0] == 0.0


def test_the_day_after_a_standing_day_begins_warmer_and_brings_less():
    site = a_home(large=False)
    carried = np.zeros((2, BINS), dtype=np.bool_)
    carried[0] = True
    after_sound = kwh_of(site, around(days=2, really_carried=carried))[1]
    after_standing = kwh_of(site, around(days=2))[1]
    assert 0.5 * after_sound < after_standing < after_sound


def test_without_a_draw_more_of_yesterday_is_left():
    site = a_home(large=False)
    drawn = kwh_of(site, around(days=2))[1]
    undrawn = kwh_of(site, around(days=2, drawn=np.zeros(2, dtype=np.bool_)))[1]
    assert undrawn < 0.8 * drawn
    assert KEPT_OVERNIGHT < 0.5


def test_a_day_asks_only_the_day_before():
    """The third day does not know what the first one was (stage one looks no further)."""
    site = a_home(large=False)
    dull = around(days=3).gain_w.copy()
    dull[0] = 0.0
    usual, other = around(days=3), around(days=3, gain_w=dull)
    assert kwh_of(site, usual)[2] == kwh_of(site, other)[2]
    assert kwh_of(site, usual)[1] != kwh_of(site, other)[1]


@pytest.mark.parametrize(
    ("bottom", "drawn"),
    [
        (np.linspace(20.0, 24.0, BINS), False),
        (np.linspace(60.0, 54.0, BINS), False),
        (np.where(HOURS < 7.0, 24.0, 20.0), True),
        (np.full(BINS, np.nan), True),
    ],
)
def test_a_store_that_falls_within_the_hour_has_seen_a_draw(bottom, drawn):
    """Usual standing loss of a store is 0.3 K an hour; a missing sensor denies nothing."""
    loop = a_loop(roof=20.0, mean=20.0, moving=0.0)
    wide = {
        one.name: np.broadcast_to(getattr(loop, one.name)[:, :1], (1, BINS)) for one in fields(loop)
    }
    wide["t_store_bottom_c"], wide["t_store_hottest_c"] = bottom[None, :], np.full((1, BINS), 50.0)
    assert drawn_days(replace(loop, **wide))[0] == drawn
