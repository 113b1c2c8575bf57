"""Terms of the papers: kept, not kept, not known, each with its evidence; and the site file."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.days import DayTable, Happening, local_days
from analysis.errors import SiteFileError
from analysis.site import Change, Commissioned, Part, Site, Warranty, WarrantyTerm
from analysis.sitefile import parse_site
from analysis.sitefile_splice import with_changes, with_papers
from analysis.sitefile_write import site_to_toml
from analysis.warranty.hot_years import hot_years, hours_above
from analysis.warranty.judge import Judged, Record, fluid_days, judge, warranty_end
from analysis.warranty.terms import TERM_KINDS
from dashboards.warranty_page import hours_words

FULL = (Path(__file__).parents[2] / "fixtures/sites/mill-lane-4.toml").read_text("utf-8")
# The same without terms and parts.
TEXT = FULL[: FULL.index("[[warranty.term]]")] + "\n" + FULL[FULL.index("[[change]]") :]
SITE = parse_site(TEXT)
START = date(2021, 3, 30)
EVERY_TERM = """
[[warranty.term]]
kind = "fluid_test"
years = 2
text = "Fluid tested every second year"

[[warranty.term]]
kind = "tubes_within"
within_days = 28
after = "filled"

[[warranty.term]]
kind = "pressure"
low_bar = 1
high_bar = 5.5

[[warranty.term]]
kind = "concentration"
low_concentration = 0.35

[[warranty.term]]
kind = "other"
text = "Roof frame checked"
kept = true
noted = 2023-04-01
by = "The office"
"""
TERM_LINE = TEXT.index("[[change]]")


def with_terms(terms: str) -> str:
    return TEXT[:TERM_LINE] + terms.strip() + "\n\n" + TEXT[TERM_LINE:]


def a_table(
    first: date, days: int, *, known: float = 1.0, peaks=90.0, hot=(0.0, 0.0, 0.0), **columns
) -> DayTable:
    """Give a table of invented days; a number stands for every day."""
    span = local_days(first=first, last=first + timedelta(days=days - 1), timezone="Europe/London")
    full = {"peak_collector_c": peaks, "known_s": span.length_s * known, **columns}
    full |= {f"hot_{c}_h": h for c, h in zip((120, 150, 170), hot, strict=True)}
    return DayTable(
        days=span,
        columns={
            name: np.broadcast_to(v, (len(span),)).astype(float).copy() for name, v in full.items()
        },
        happenings=(),
    )


def judged(
    term: WarrantyTerm,
    *,
    table: DayTable | None = None,
    as_of: date = date(2021, 12, 31),
    visits: tuple[date, ...] | None = None,
    site: Site = SITE,
) -> Judged:
    papers = Warranty(start=START, years=10, conditions=(), terms=(term,))
    record = Record(site=replace(site, warranty=papers), table=table, visits=visits, as_of=as_of)
    (one,) = judge(record)
    return one


def test_the_complete_site_file_shows_terms_and_parts():
    site = parse_site(FULL)
    assert [one.kind for one in site.warranty.terms] == ["hours_above", "other"]
    assert site.parts[0].what == "pump"
    assert site.commissioned.serials == ("K 20-0815",)
    assert parse_site(site_to_toml(site)) == site


def test_terms_and_parts_of_a_site_file_are_read_and_written_back():
    part = '[[part]]\ndate = 2024-05-02\nwhat = "pump"\nserial = "P 7"\n\n'
    site = parse_site(with_terms(EVERY_TERM).replace("[[change]]", part + "[[change]]"))
    assert [one.kind for one in site.warranty.terms] == [
        "fluid_test", "tubes_within", "pressure", "concentration", "other",
    ]  # fmt: skip
    assert site.warranty.terms[4].noted == date(2023, 4, 1)
    assert site.parts == (Part(date=date(2024, 5, 2), what="pump", serial="P 7"),)
    assert parse_site(site_to_toml(site)) == site


numbers = {
    "years": st.integers(1, 30).map(float),
    "within_days": st.integers(0, 3650),
    "most_days": st.integers(0, 366),
    "most_hours": st.floats(0, 8784),
    "limit_c": st.floats(40, 400),
    "after": st.sampled_from(["filled", "start"]),
    "text": st.text(min_size=1, max_size=30).filter(lambda text: bool(text.strip())),
    "low_bar": st.floats(0, 10),
    "low_concentration": st.floats(0, 0.6),
}


@st.composite
def terms(draw) -> WarrantyTerm:
    kind = draw(st.sampled_from(sorted(TERM_KINDS)))
    keys = (*TERM_KINDS[kind].needs, *TERM_KINDS[kind].one_of[:1])
    values = {key: draw(numbers[key]) for key in keys}
    if "low_concentration" in values:
        values["low_concentration_frac"] = values.pop("low_concentration")
    return WarrantyTerm(kind=kind, **values)


@settings(max_examples=8, deadline=None)
@given(
    st.lists(terms(), max_size=4),
    st.lists(st.text(min_size=1, max_size=9).filter(lambda t: bool(t.strip())), max_size=2),
)
def test_papers_put_into_a_file_come_out_the_same_and_nothing_else_moves(found, serials):
    papers = Warranty(start=START, years=5, conditions=("kept dry",), terms=tuple(found))
    facts = Commissioned(filled=START, tubes_fitted=None, by="A. Fitter", serials=tuple(serials))
    text = with_papers(TEXT, facts, papers)
    assert parse_site(text) == replace(SITE, commissioned=facts, warranty=papers)
    for line in ("# degrees north", "# any key above; arrays as array.1.tubes", "# any text"):
        assert line in text
    assert with_papers(text, facts, papers).strip() == text.strip()


def test_papers_can_be_taken_out_and_comments_above_the_next_table_stay():
    text = TEXT.replace("[[change]]", "# what visits changed\n[[change]]", 1)
    bare = with_papers(text, None, None)
    assert parse_site(bare) == replace(SITE, commissioned=None, warranty=None)
    assert "# what visits changed\n[[change]]" in bare


def test_changes_are_added_at_the_end():
    change = Change(date=date(2024, 6, 1), key="array.1.tubes", value=17, why="one broke")
    text = with_changes(TEXT, [change])
    assert text.startswith(TEXT.rstrip())
    assert parse_site(text).changes[-1] == change
    assert with_changes(TEXT, []) == TEXT


@pytest.mark.parametrize(
    ("term", "words"),
    [
        ('kind = "fluid_test"', "warranty.term.1.years is missing"),
        ('kind = "pressure"', "needs low_bar or high_bar"),
        ('kind = "pressure"\nlow_bar = 3\nhigh_bar = 2', "it must be below the highest, 2"),
        ('kind = "other"\ntext = "x"\nkept = true', "say with noted on which day"),
        ('kind = "rust"', "allowed: "),
        ('kind = "visit"\nyear = 2', 'did you mean "years"'),
    ],
)
def test_a_term_that_says_nothing_is_refused_with_its_line(term, words):
    with pytest.raises(SiteFileError, match=words) as caught:
        parse_site(with_terms(f"[[warranty.term]]\n{term}"))
    assert caught.value.line is not None


def test_a_part_must_be_an_array_of_tables():
    with pytest.raises(SiteFileError, match=r"a part must be written as \[\[part\]\]"):
        parse_site(TEXT.replace("[[change]]", '[part]\nwhat = "x"\n\n[[change]]', 1))


def test_warranties_end_on_their_day():
    papers = Warranty(start=date(2020, 2, 29), years=1, conditions=())
    assert warranty_end(papers) == date(2021, 3, 1)
    assert warranty_end(replace(papers, years=4)) == date(2024, 2, 29)


def test_fluid_days_are_fills_tests_and_new_strengths():
    changes = (
        Change(
            date=date(2023, 5, 2), key="commissioned.fluid_tested", value=date(2023, 5, 1), why=None
        ),
        Change(date=date(2025, 5, 2), key="loop.concentration", value=0.4, why=None),
        Change(date=date(2025, 6, 2), key="loop.flow_l_min", value=2.0, why=None),
    )
    assert fluid_days(replace(SITE, changes=changes)) == (
        date(2021, 3, 2), date(2023, 5, 1), date(2025, 5, 2),
    )  # fmt: skip


FLUID = WarrantyTerm(kind="fluid_test", years=2)


@pytest.mark.parametrize(
    ("tested", "as_of", "outcome", "words"),
    [
        (None, date(2023, 3, 29), "kept", "the next is due by 30 March 2023"),
        (None, date(2023, 4, 29), "kept", "the next is due by 30 March 2023"),  # a month's grace
        (None, date(2023, 4, 30), "not_kept", "was due by 30 March 2023"),
        (date(2023, 4, 1), date(2024, 1, 1), "kept", "last test or fill on record 1 April 2023"),
        (date(2023, 6, 1), date(2024, 1, 1), "not_kept", "between 30 March 2021 and 1 June 2023"),
        # What lies after the day that is asked about does not count.
        (date(2023, 4, 1), date(2022, 1, 1), "kept", "last test or fill on record 2 March 2021"),
    ],
)
def test_fluid_has_to_be_tested_in_time(tested, as_of, outcome, words):
    facts = replace(SITE.commissioned, fluid_tested=tested)
    one = judged(FLUID, site=replace(SITE, commissioned=facts), as_of=as_of)
    assert (one.outcome, words in one.why) == (outcome, True), one.why


def test_visits_are_not_known_without_a_register_of_visits():
    term = WarrantyTerm(kind="visit", years=1)
    assert judged(term).outcome == "not_known"
    assert judged(term, visits=()).outcome == "not_known"
    assert judged(term, visits=(date(2021, 11, 1),)).outcome == "kept"
    late = judged(term, visits=(date(2022, 9, 1),), as_of=date(2022, 10, 1))
    assert late.outcome == "not_kept"


@pytest.mark.parametrize(
    ("days", "after", "outcome"),
    [(28, "filled", "kept"), (27, "filled", "not_kept"), (0, "start", "kept")],
)
def test_tubes_have_to_go_in_within_their_days(days, after, outcome):
    # Mill Lane 4: filled on 2 March 2021, tubes on 30 March, 28 days after.
    term = WarrantyTerm(kind="tubes_within", within_days=days, after=after)
    assert judged(term).outcome == outcome


def test_tubes_without_a_date_are_not_known():
    term = WarrantyTerm(kind="tubes_within", within_days=9, after="filled")
    facts = replace(SITE.commissioned, tubes_fitted=None)
    assert judged(term, site=replace(SITE, commissioned=facts)).outcome == "not_known"


HOURS = WarrantyTerm(kind="hours_above", limit_c=150, most_hours=40)


def test_hours_that_were_measured_are_there_however_little_was_logged():
    table = a_table(START, 30, known=0.2, peaks=180.0, hot=(3.0, 2.0, 1.0))
    one = judged(HOURS, table=table)
    assert (one.outcome, one.why) == ("not_kept", "at least 60 h in 2021")


def test_hours_that_nobody_logged_are_not_known():
    table = a_table(START, 30, peaks=180.0, hot=(0.3, 0.2, 0.1))
    one = judged(HOURS, table=table)
    assert one.outcome == "not_known"
    assert "of 2021 is in the log" in one.why


def test_few_hours_in_a_full_log_are_kept():
    table = a_table(START, 277, peaks=155.0, hot=(0.3, 0.1, 0.0))
    one = judged(HOURS, table=table)
    assert (one.outcome, one.why) == (
        "kept", "at most 28 h in a year were logged; at least 100 % of each year is in the log",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("limit", "peak", "outcome"),
    [
        (160, 158.0, "kept"),  # the hottest moment lies below it
        (160, 190.0, "not_known"),  # 277 h above 150, 0 h above 170: between 0 and 277 h
        (145, 190.0, "not_kept"),  # every hour above 150 is one above 145
    ],
)
def test_a_temperature_between_the_levels_is_bounded_by_them(limit, peak, outcome):
    term = WarrantyTerm(kind="hours_above", limit_c=limit, most_hours=40)
    table = a_table(START, 277, peaks=peak, hot=(2.0, 1.0, 0.0))
    assert judged(term, table=table).outcome == outcome


def test_below_the_lowest_level_hot_days_leave_the_hours_open():
    term = WarrantyTerm(kind="hours_above", limit_c=110, most_hours=40)
    assert judged(term, table=a_table(START, 277, peaks=115.0)).outcome == "not_known"
    assert judged(term, table=a_table(START, 277, peaks=105.0)).outcome == "kept"


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.lists(st.floats(20, 250), min_size=4, max_size=4), min_size=1, max_size=6),
    st.floats(60, 240),
)
def test_bounds_of_hours_hold_the_truth(days, limit):
    """Days of four temperatures, six hours each, counted by hand."""
    truth = sum(6.0 for day in days for one in day if one >= limit)
    table = a_table(START, len(days), peaks=[max(day) for day in days])
    levels = {
        f"hot_{c}_h": np.array([6.0 * sum(one >= c for one in day) for day in days])
        for c in (120, 150, 170)
    }
    table = replace(table, columns={**table.columns, **levels})
    (year,) = hours_above(table, limit)
    assert year.least_h <= truth
    assert year.most_h is None or truth <= year.most_h


def test_years_add_up_and_days_without_a_log_count_as_not_seen():
    table = a_table(date(2021, 12, 30), 4, peaks=[100, 130, 140, 120], hot=(1.0, 0.5, 0.0))
    stood = Happening(kind="stagnation", date="2022-01-01", start_s=0, end_s=1, values={})
    table = replace(table, happenings=(stood, stood))
    first, second = hot_years(table, last=date(2022, 1, 4))
    assert (first.year, first.days, first.seen_frac, first.standing_days) == (2021, 2, 1.0, 0)
    assert (second.days, second.seen_frac, second.standing_days) == (4, 0.5, 1)
    assert second.above_h == {120: 2.0, 150: 1.0, 170: 0.0}
    assert (first.peak_c, second.peak_c) == (130.0, 140.0)
    assert first.lowest_cold_bar is None
    assert [hours_words(h) for h in (0.0, 0.005, 0.6, 1.04)] == [
        "none", "under a minute", "36 minutes", "1.0 h",
    ]  # fmt: skip


def test_a_log_without_the_collector_tells_no_hours():
    table = a_table(START, 5, peaks=np.nan, hot=(np.nan, np.nan, np.nan))
    (year,) = hot_years(table)
    assert (year.above_h, year.peak_c, year.seen_frac) == (None, None, 0.0)
    assert judged(HOURS, table=table).outcome == "not_known"


def test_the_hottest_and_the_days_that_stood_hot():
    table = a_table(START, 277, peaks=198.4)
    hot = judged(WarrantyTerm(kind="never_above", limit_c=190), table=table)
    assert (hot.outcome, hot.why) == ("not_kept", "198 °C in 2021")
    assert judged(WarrantyTerm(kind="never_above", limit_c=200), table=table).outcome == "kept"
    stood = WarrantyTerm(kind="stagnation_days", most_days=0)
    assert judged(stood, table=table).outcome == "kept"


@pytest.mark.parametrize(
    ("low", "high", "outcome"),
    [(1.0, 5.5, "kept"), (1.6, None, "not_kept"), (None, 2.9, "not_kept"), (1.0, None, "kept")],
)
def test_pressure_is_held_against_cold_nights_and_peaks(low, high, outcome):
    table = a_table(START, 277, cold_pressure_bar=1.5, peak_bar=3.0)
    term = WarrantyTerm(kind="pressure", low_bar=low, high_bar=high)
    assert judged(term, table=table).outcome == outcome


def test_pressure_that_is_not_logged_is_not_known():
    term = WarrantyTerm(kind="pressure", low_bar=1.0)
    assert judged(term, table=a_table(START, 277)).outcome == "not_known"
    assert judged(term).outcome == "not_known"


def test_a_weaker_mixture_from_a_day_on_is_not_kept():
    term = WarrantyTerm(kind="concentration", low_concentration_frac=0.35)
    assert judged(term).outcome == "kept"
    weak = Change(date=date(2021, 8, 1), key="loop.concentration", value=0.3, why=None)
    one = judged(term, site=replace(SITE, changes=(weak,)))
    assert (one.outcome, one.why) == ("not_kept", "30 % on record from 1 August 2021 on")


def test_what_a_person_noted_counts_where_the_data_do_not_tell():
    noted = {"kept": True, "noted": date(2021, 6, 1), "by": "The office"}
    term = WarrantyTerm(kind="other", text="Frame checked", **noted)
    assert judged(term).why == "noted on 1 June 2021 by The office"
    assert judged(replace(term, kept=None)).outcome == "not_known"
    # The record goes before what somebody noted.
    late = replace(FLUID, **noted)
    assert judged(late, as_of=date(2023, 6, 1)).outcome == "not_kept"


def test_conditions_in_words_come_last_and_are_not_known():
    record = Record(site=SITE, table=None, visits=None, as_of=date(2022, 1, 1))
    assert [(one.term.text, one.outcome) for one in judge(record)] == [
        ("yearly visit recorded", "not_known"),
        ("fluid checked every second year", "not_known"),
    ]


def test_nothing_is_judged_before_a_warranty_begins_or_after_its_end():
    assert judged(FLUID, as_of=date(2021, 1, 1)).why == "the warranty has not begun"
    papers = Warranty(start=START, years=1, conditions=(), terms=(FLUID,))
    record = Record(
        site=replace(SITE, warranty=papers), table=None, visits=None, as_of=date(2026, 1, 1)
    )
    assert judge(record)[0].outcome == "kept"  # it ended before a test was due
