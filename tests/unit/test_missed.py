"""What a sound plant would have brought: all of it, none, or what the store takes. Invented."""

import numpy as np
import pytest

from analysis.healthy_loop import KEPT_OVERNIGHT
from analysis.missed import missed_heat
from tests.build import a_table

DAYS = np.arange(40)


def missed(offered, *, u_kwh=0.0, most=None, **columns):
    """Give the missed heat of forty days with this much offered on each."""
    table = a_table(
        count=len(DAYS),
        **{"store_room_kwh": 50.0, "store_costs_frac": 0.0, "store_drawn": 1.0, **columns},
    )
    other = None if most is None else np.full(len(DAYS), most)
    got = missed_heat(table, DAYS, np.full(len(DAYS), offered), u_kwh=u_kwh, most_offered_kwh=other)
    ways = (offered, offered if most is None else most)
    assert got.lost.value + got.untaken_kwh == pytest.approx(20 * sum(max(w, 0.0) for w in ways))
    return got.lost


def test_a_store_with_room_that_costs_nothing_takes_all():
    lost = missed(1.0)
    assert (lost.low, lost.value, lost.high) == pytest.approx((40.0, 40.0, 40.0))


def test_a_full_store_takes_nothing():
    assert missed(1.0, store_room_kwh=0.0).value == 0.0


def test_unknown_room_is_no_bound():
    assert missed(1.0, store_room_kwh=np.nan).value == pytest.approx(40.0)


def test_extra_heat_makes_the_loop_hotter_and_settles():
    """A day's gain g and the morning's extra heat e: e = k (e + g), g = (o - c e) / (1 + c/2)."""
    offered, costs, kept = 2.0, 0.2, KEPT_OVERNIGHT
    settled = offered / (1.0 + costs / 2.0 + costs * kept / (1.0 - kept))
    assert missed(offered, store_costs_frac=costs).value == pytest.approx(40 * settled, rel=0.01)


def test_what_nobody_draws_stays_and_takes_the_room_of_the_next_day():
    drawn = missed(2.0, store_room_kwh=6.0)
    idle = missed(2.0, store_room_kwh=6.0, store_drawn=0.0)
    assert drawn.value == pytest.approx(80.0)
    assert idle.value < 0.6 * drawn.value


def test_bounds_hold_both_readings_and_what_is_uncertain():
    one, both = missed(1.0), missed(1.0, most=2.0)
    assert both.value == pytest.approx(60.0)
    assert (both.low, both.high) == pytest.approx((40.0, 80.0))
    unsure = missed(1.0, u_kwh=5.0)
    assert unsure.value == one.value
    assert (unsure.low, unsure.high) == pytest.approx((40.0 - 9.8, 40.0 + 9.8), abs=0.05)


def test_nothing_offered_is_nothing_missed():
    lost = missed(-1.0, u_kwh=3.0)
    assert (lost.low, lost.value, lost.high) == (0.0, 0.0, 0.0)
