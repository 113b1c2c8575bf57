"""The ledger adds up for any days and any claims."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from analysis.ledger import Claim, share_out

DAYS = st.integers(1, 25)
GAP = st.one_of(st.floats(-5.0, 20.0), st.just(float("nan")))


@st.composite
def drawn(draw):
    days = draw(DAYS)
    gap = np.array(draw(st.lists(GAP, min_size=days, max_size=days)))
    claims = [
        Claim(
            days=np.array(draw(st.lists(st.booleans(), min_size=days, max_size=days))),
            kwh=draw(st.floats(0.0, 200.0)),
        )
        for _ in range(draw(st.integers(0, 5)))
    ]
    return gap, claims


@given(drawn())
def test_claims_and_rest_add_up_to_the_gap(case):
    gap, claims = case
    taken, rest = share_out(gap, claims)
    known = np.nan_to_num(gap)
    np.testing.assert_allclose(taken.sum(axis=0) + rest, known, atol=1e-9)
    np.testing.assert_allclose(taken.sum() + rest.sum(), known.sum(), atol=1e-9)


@given(drawn())
def test_no_claim_takes_more_than_it_asks_or_than_its_days_lack(case):
    gap, claims = case
    taken, rest = share_out(gap, claims)
    missing = np.maximum(np.nan_to_num(gap), 0.0)
    assert (taken >= 0.0).all()
    assert (taken.sum(axis=0) <= missing + 1e-9).all()
    # A day above its expectation stays as it is; on others nothing is left below zero.
    assert (np.where(missing > 0.0, rest, 0.0) >= -1e-9).all()
    for claim, kwh in zip(claims, taken, strict=True):
        assert kwh.sum() <= claim.kwh + 1e-9
        assert not kwh[~claim.days].any()


@given(drawn())
def test_earlier_claims_are_served_first(case):
    gap, claims = case
    alone = [share_out(gap, claims[: place + 1])[0][place] for place in range(len(claims))]
    taken, _ = share_out(gap, claims)
    for one, other in zip(taken, alone, strict=True):
        np.testing.assert_allclose(one, other)
