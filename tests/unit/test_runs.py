"""Runs of flagged bins, their holes and what lasts, against their definitions spelt out."""

from itertools import groupby

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.held import held
from analysis.runs import latched, long_runs, short_holes

DAYS = st.lists(st.booleans(), min_size=12, max_size=12)
MANY = settings(max_examples=60, deadline=None)


def runs_of(day):
    """Give (flag, first, last) of each run of like flags."""
    place = 0
    for flag, bins in groupby(day):
        count = len(list(bins))
        yield flag, place, place + count
        place += count


@MANY
@given(day=DAYS, least=st.integers(1, 6))
def test_long_runs_are_kept_whole_and_others_go(day, least):
    expected = np.zeros(12, dtype=np.bool_)
    for flag, first, last in runs_of(day):
        expected[first:last] = flag and last - first >= least
    assert (long_runs(np.array([day]), least)[0] == expected).all()


@MANY
@given(day=DAYS, most=st.integers(1, 6))
def test_holes_are_short_and_have_flags_on_both_sides(day, most):
    expected = np.zeros(12, dtype=np.bool_)
    for flag, first, last in runs_of(day):
        inside = first > 0 and last < 12
        expected[first:last] = not flag and inside and last - first <= most
    assert (short_holes(np.array([day]), most)[0] == expected).all()


@MANY
@given(sets=DAYS, holds=DAYS, before=st.booleans())
def test_a_state_lasts_from_what_sets_it_while_others_hold_it(sets, holds, before):
    state, expected = before, []
    for one, other in zip(sets, holds, strict=True):
        state = one or (state and other)
        expected.append(state)
    found = latched(np.array([sets]), np.array([holds]), np.array([before]))
    assert found[0].tolist() == expected
    off = latched(np.array([sets]), np.array([holds]))
    assert not off[0, : sets.index(True) if True in sets else None].any()


def test_what_is_held_never_crosses_midnight():
    values = np.array([[np.nan, 1.0, np.nan, 2.0], [np.nan] * 4, [np.nan, np.nan, 3.0, np.nan]])
    expected = [[1.0, 1.0, 1.0, 2.0], [np.nan] * 4, [3.0] * 4]
    np.testing.assert_array_equal(held(values), expected)
    np.testing.assert_array_equal(held(values[:, ::2]), [[np.nan] * 2, [np.nan] * 2, [3.0] * 2])
