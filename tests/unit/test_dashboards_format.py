"""Numbers, times and unknowns as people read them.

The expected texts are this project's own rules of writing; local times are those of the IANA zone.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.results import Bounded
from dashboards import format as words
from tests.build_report import at


@pytest.mark.parametrize(
    ("value", "low", "high", "text"),
    [
        (981.0, 853.0, 1109.0, "981 kWh, likely between 853 and 1,109"),
        (5.31, 4.62, 6.0, "5.3 kWh, likely between 4.6 and 6.0"),
        (0.312, 0.29, 0.33, "0.31 kWh, likely between 0.29 and 0.33"),
        (9810.0, 8530.0, 11090.0, "9,810 kWh, likely between 8,530 and 11,090"),
        (-0.4, -0.9, 0.1, "−0.4 kWh, likely between −0.9 and 0.1"),
    ],
)
def test_a_figure_is_rounded_by_its_own_uncertainty(
    value: float, low: float, high: float, text: str
) -> None:
    assert words.bounded(Bounded(value=value, low=low, high=high)) == text


def test_what_is_unknown_is_never_written_as_zero() -> None:
    assert words.bounded(None) == "not measured"
    assert words.number(None) == "not measured"
    assert words.quantity(float("nan"), "°C") == "not measured"
    assert words.share(None) == "not known"
    assert words.money(None, "GBP") == "not known"


def test_only_what_is_whole_reads_as_hundred_per_cent() -> None:
    assert words.share(1.0) == "100 %"
    assert words.share(0.9996) == "99.9 %"
    assert words.share(0.998) == "99.8 %"
    assert words.share(0.0) == "0 %"
    assert words.share(0.0002) == "under 0.1 %"


def test_money_carries_its_currency() -> None:
    assert words.money(52.6, "GBP") == "£52.60"
    assert words.money(-4.5, "EUR") == "−€4.50"
    assert words.money(52.6, "CHF") == "52.60 CHF"
    assert words.money(1234.4, "USD") == "$1,234"


def test_money_with_bounds_claims_no_more_pennies_than_it_knows() -> None:
    assert words.money_bounded(Bounded(value=26.3, low=21.2, high=31.4), "GBP") == (
        "£26, likely between £21 and £31"
    )
    assert words.money_bounded(Bounded(value=2.5, low=2.1, high=2.9), "EUR") == (
        "€2.50, likely between €2.10 and €2.90"
    )
    assert words.money_bounded(None, "GBP") == "not known"


def test_an_instant_is_written_in_the_zone_of_the_site() -> None:
    assert words.moment(at(7, 1, 11, 30), "Europe/London") == "1 July 2025, 12:30"
    assert words.moment(at(1, 1, 0, 30), "America/New_York") == "31 December 2024, 19:30"


def test_a_span_names_the_local_days_it_touches() -> None:
    zone = "Europe/London"
    assert words.span(at(5, 3, 8), None, zone) == "since 3 May 2025"
    assert words.span(at(5, 3, 8), at(7, 12, 9), zone) == "3 May to 12 July 2025"
    assert words.span(at(5, 3, 8), at(5, 9, 9), zone) == "3 to 9 May 2025"
    assert words.span(at(5, 2, 23), at(5, 3, 23), zone) == "3 May 2025"
    assert words.span(at(12, 30), at(1, 2, 9, year=2026), zone) == (
        "30 December 2025 to 2 January 2026"
    )


@pytest.mark.parametrize(
    ("length_s", "text"),
    [
        (20, "under a minute"),
        (60, "1 minute"),
        (2400, "40 minutes"),
        (3 * 3600, "3 hours"),
        (70 * 86400, "70 days"),
    ],
)
def test_a_length_of_time_is_written_in_one_unit(length_s: float, text: str) -> None:
    assert words.duration(length_s) == text


@given(st.floats(allow_nan=True, allow_infinity=True), st.integers(-1, 3))
def test_every_number_becomes_text_without_nan_or_inf(value: float, decimals: int) -> None:
    text = words.number(value, decimals=decimals)
    assert "nan" not in text
    assert "inf" not in text
