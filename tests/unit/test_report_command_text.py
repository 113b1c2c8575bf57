"""The readable report: what stands in it, and what it does not claim. All numbers are invented."""

from dataclasses import replace

from analysis.ledger_result import Ledger
from analysis.results import Bounded
from dashboards.report_text import _labelled, render_text
from tests.build_report import a_finding, a_report, an_empty_report, at


def test_findings_come_by_urgency_with_cautions_before_checks():
    report = a_report(
        findings=(
            a_finding(kind="stagnation", urgency="record", lost=None),
            a_finding(kind="degraded_tubes", urgency="visit", end_s=None),
            a_finding(kind="frost_risk", urgency="act", end_s=None, lost=None),
        )
    )
    text = render_text(report, texts={})
    assert text.index("1. Act today: Frost risk") < text.index("2. Plan a visit: Degraded tubes")
    assert text.index("2. Plan a visit") < text.index("3. Noted: Stagnation")
    first = text[text.index("1. Act today") : text.index("2. Plan a visit")]
    assert first.index("take care") < first.index("Then check")
    # What is only noted asks for no work.
    assert "check" not in text[text.index("3. Noted") : text.index("COULD NOT")]


def test_heat_stands_with_its_bounds_and_what_it_rests_on():
    text = render_text(a_report(), texts={})
    assert "Delivered    558 kWh, likely between 486 and 631" in text
    assert "heat lost: 118 kWh, likely between 97 and 139" in text
    assert "loop's flow" in text
    assert "Pressure loss: no pressure was logged" in text
    assert "frost risk" in text[text.index("LOOKED FOR AND NOT FOUND") :]


def test_labels_stand_apart_from_their_text():
    assert _labelled("Field check", "Measured over estimated").startswith("  Field check  Measured")


def test_unknown_is_said_and_never_zero():
    text = render_text(an_empty_report(), texts={})
    assert "Delivered    not measured" in text
    assert "Expected     not known" in text
    assert "Nothing was found" in text
    assert " 0 kWh" not in text


def test_many_problems_of_one_reason_are_one_line():
    report = a_report()
    one = report.rejected[0]
    many = replace(report, rejected=tuple(replace(one, line=line) for line in range(100, 900)))
    text = " ".join(render_text(many, texts={}).split())
    assert text.count("roof-2025-03.csv") == 1
    assert "lines 100 to 899" in text
    assert "800 times: " in text


def test_of_many_reasons_the_most_frequent_are_listed():
    report = a_report()
    one = report.rejected[0]
    whys = [f"reason {letter}" for letter in "abcdefghijklm"]
    many = [replace(one, line=line, why=why) for line, why in enumerate([*whys, "reason m"])]
    text = render_text(replace(report, rejected=tuple(many)), texts={})
    assert text.index("reason m") < text.index("reason a")
    assert "reason l" not in text
    assert "and 3 more reasons" in text


def test_a_low_coverage_forbids_the_comparison_with_the_promise():
    report = a_report()
    thin = replace(report, totals=replace(report.totals, coverage=0.5))
    assert "cannot be compared" in " ".join(render_text(thin, texts={}).split())


def test_lines_fit_a_terminal():
    report = a_report(findings=(a_finding(start_s=at(5, 3), summary="word " * 80),))
    assert max(len(line) for line in render_text(report, texts={}).splitlines()) <= 78


def test_a_caution_is_written_once_and_called_to_mind_wherever_it_holds():
    own = "Invented caution of the second alone."
    first = a_finding(kind="lost_circulation", urgency="act", end_s=None)
    second = a_finding(kind="degraded_tubes", end_s=None, cautions=(*first.cautions, own))
    text = render_text(a_report(findings=(first, second)), texts={})
    flat = " ".join(text.split())
    for caution in second.cautions:
        assert flat.count(" ".join(caution.split())) == 1
    rest = text[text.index("2. Plan a visit") :]
    assert rest.index("Heed the cautions under 1 here") < rest.index(own) < rest.index("Then check")


def test_what_asks_nobody_to_come_sends_nobody_to_work():
    text = render_text(a_report(findings=(a_finding(urgency="watch"),)), texts={})
    assert "Keep an eye on it: Lost circulation" in text
    assert "Then check" not in text


def test_a_finding_that_is_over_asks_for_nobody():
    text = render_text(a_report(findings=(a_finding(),)), texts={})
    assert "1. Over: Lost circulation" in text
    assert "Plan a visit" not in text
    assert "may come back" in text
    assert "Then check" not in text


def test_days_held_against_nothing_are_said_to_be_left_out():
    report = a_report()
    blind = report.days[0]._replace(delivered_kwh=2.0, expected_kwh=None)
    gap = Bounded(value=1.0, low=-1.0, high=3.0)
    ledger = Ledger(days=len(report.days) - 1, gap=gap, entries=(), rest=gap, apart=())
    told = [day._replace(delivered_kwh=2.0, expected_kwh=3.0) for day in report.days[1:]]
    for days, said in (((blind, *told), True), (tuple(told), False)):
        text = " ".join(render_text(replace(report, days=days, ledger=ledger), texts={}).split())
        assert ("; 1 day that cannot tell it left out)" in text) is said
        assert ("Of 1 further day nobody can say" in text) is said
