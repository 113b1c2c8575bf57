"""The customer's sheet: its figures, languages, picture and PDF. The plant is invented."""

import re
import string
from dataclasses import fields, replace
from datetime import UTC, date, datetime
from functools import lru_cache

import pytest

from analysis.results import Bounded, Finding, report_from_json, report_json
from analysis.savings import CO2_SOURCES
from dashboards.sheet.languages import LANGUAGES, Sentences, language_for
from dashboards.sheet.picture import picture, shapes
from dashboards.sheet.view import Bar, sheet_view
from fixtures.scenario import home
from tests.plants import examine


@lru_cache(maxsize=1)
def report():
    return examine(home(), seed=3, start="2024-12-01", days=92).report


def view(language: str = "en", **given):
    found = given.pop("report", None) or report()
    return sheet_view(
        found,
        site_name="Mill Lane 4",
        fuel="mains_gas",
        language=language,
        today=date(2025, 3, 5),
        **given,
    )


def test_years_are_parted_at_new_year_and_add_up() -> None:
    first, second = report().years
    assert (first.year, first.first, first.last) == (2024, "2024-12-01", "2024-12-31")
    assert (second.year, second.first, second.last) == (2025, "2025-01-01", "2025-03-02")
    both = first.delivered.value + second.delivered.value
    assert both == pytest.approx(report().totals.delivered_kwh, rel=1e-6)
    money = first.savings.money_net + second.savings.money_net
    assert money == pytest.approx(report().savings.money_net, abs=0.02)


def test_years_survive_the_machine_report() -> None:
    again = report_from_json(report_json(report()))
    assert [one.year for one in again.years] == [2024, 2025]
    assert again.years[1].delivered.low == pytest.approx(report().years[1].delivered.low, abs=1e-3)
    assert again.years[1].savings.currency == report().years[1].savings.currency


def test_a_healthy_plant_would_not_have_saved_less() -> None:
    for year in report().years:
        assert year.healthy_money_net >= year.savings.money_net


def test_every_language_fills_the_same_blanks() -> None:
    def blanks(text: str) -> set[str]:
        return {name for _, name, _, _ in string.Formatter().parse(text) if name}

    for item in fields(Sentences):
        texts = [getattr(one, item.name) for one in LANGUAGES.values()]
        if item.name == "fuels":
            assert len({frozenset(one) for one in texts}) == 1
            continue
        if item.name == "co2_sources":
            assert all(one.keys() == set(CO2_SOURCES) for one in texts)
            continue
        assert all(texts), item.name
        assert len({frozenset(blanks(one)) for one in texts}) == 1, item.name


def test_numbers_are_written_as_the_language_does() -> None:
    english, german = view(), view("de")
    assert english.year_column == "2025, until 2 March 2025"
    assert german.year_column == "2025, bis 2. März 2025"
    pounds = next(row for row in english.rows if row.label == "Money saved")
    assert re.fullmatch(r"£\d+", pounds.year.value)
    euros = replace(
        report(),
        years=tuple(
            replace(one, savings=replace(one.savings, currency="EUR", money_net=1234.5))
            for one in report().years
        ),
    )
    money = next(r for r in view("de", report=euros).rows if r.label == "Gespartes Geld")
    assert money.year.value == "1.234\N{NO-BREAK SPACE}€"


def test_small_amounts_keep_their_pence_and_losses_have_a_true_minus() -> None:
    """A pump that ran all day for little heat costs more than it saves."""
    dear = replace(
        report(),
        years=tuple(
            replace(
                one,
                savings=replace(
                    one.savings, money_net=-1.03, money_net_low=-1.2, money_net_high=-0.87
                ),
            )
            for one in report().years
        ),
    )
    money = next(row for row in view(report=dear).rows if row.label == "Money saved")
    assert money.year.value == "−£1.03"
    assert money.year.range == "−£1.20 to −£0.87"


def test_unknown_is_said_and_never_zero() -> None:
    bare = replace(
        report(),
        savings=None,
        years=tuple(
            replace(one, savings=None, healthy=None, healthy_money_net=None)
            for one in report().years
        ),
    )
    shown = view(report=bare)
    assert [row.label for row in shown.rows] == ["Heat from the sun"]
    assert any("not on record" in note for note in shown.notes)
    assert any("nothing measured the sun" in said for said in shown.sentences)
    empty = sheet_view(None, site_name="x", fuel=None, language="en", today=date(2025, 3, 5))
    assert empty.rows == ()
    assert "No data" in empty.headline


def test_what_a_fault_cost_is_said_before_anything_else() -> None:
    start_s = int(datetime(2025, 1, 10, tzinfo=UTC).timestamp())
    fault = Finding(
        kind="lost_circulation",
        start_s=start_s,
        end_s=start_s + 20 * 86_400,
        urgency="visit",
        certainty=0.9,
        channel=None,
        lost=Bounded(value=30.0, low=20.0, high=40.0),
        summary="x",
        evidence=(),
        likely_causes=(),
        check_next=(),
        cautions=(),
    )
    shown = replace(report(), findings=(fault,))
    assert any(
        "30\N{NO-BREAK SPACE}kWh of heat did not" in said for said in view(report=shown).sentences
    )
    before = view(report=shown, year=2024).sentences
    assert not any("did not arrive" in said for said in before)


def test_another_year_can_be_asked_for() -> None:
    assert view(year=2024).year == 2024
    assert view(year=1999).year == 2025


@pytest.mark.parametrize(
    ("asked", "accepted", "expected"),
    [
        ("de", "", "de"),
        (None, "de-AT,de;q=0.9,en;q=0.8", "de"),
        (None, "fr,de;q=0.5", "de"),
        ("xx", "", "en"),
        (None, "", "en"),
    ],
)
def test_the_language_is_the_one_asked_for(asked, accepted, expected) -> None:
    assert language_for(asked, accepted=accepted) == expected


def test_bars_are_as_high_as_their_heat() -> None:
    bars = [Bar(label="Jan", delivered_kwh=50.0, healthy_kwh=100.0)]
    bars.append(Bar(label="Feb", delivered_kwh=None, healthy_kwh=None))
    drawn = shapes(bars)
    first, second = drawn.months
    assert first.healthy.height == pytest.approx(2 * first.delivered.height)
    assert first.delivered.y + first.delivered.height == pytest.approx(drawn.base)
    assert second.delivered is None
    y, value = drawn.scale[-1]
    assert (drawn.base - y) / value == pytest.approx(first.healthy.height / 100.0)
    assert "Jan" in picture(bars, says="<heat>")
    assert "&lt;heat&gt;" in picture(bars, says="<heat>")


@pytest.mark.parametrize("language", list(LANGUAGES))
def test_the_pdf_is_one_page_with_the_words_of_the_page(language: str) -> None:
    from dashboards.sheet.pdf import sheet_pdf

    data = sheet_pdf(view(language))
    assert data.startswith(b"%PDF-")
    assert data.count(b"/Type /Page\n") == 1
