"""What the machine report makes of any numbers."""

from datetime import date
from math import isfinite

from hypothesis import given
from hypothesis import strategies as st

from analysis.results import report_json
from tests.build_report import a_day, a_report

# Halves of the fourth digit in particular: a binary number hardly ever is one exactly.
FIGURES = st.one_of(
    st.none(),
    st.floats(),
    st.integers(-(10**9), 10**9).map(lambda number: (number + 0.5) / 1e4),
)


@given(st.lists(FIGURES, min_size=1, max_size=20))
def test_figures_of_days_are_rounded_one_by_one(figures):
    days = tuple(a_day(date(2025, 6, 1), delivered_kwh=one) for one in figures)
    stored = report_json(a_report(days=days))["days"]
    assert [one["delivered_kwh"] for one in stored] == [
        None if one is None or not isfinite(one) else round(one, 4) for one in figures
    ]
