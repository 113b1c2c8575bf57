"""An empty house is nobody else's business: where `no_draw` may stand, and where it must not."""

from dataclasses import replace

from analysis.faults import CATALOGUE
from analysis.results import Verdict
from dashboards.fleet_page import FleetSite, fleet_page
from dashboards.private import PRIVATE_KINDS, shareable
from dashboards.render import render
from dashboards.report_page import render_report
from dashboards.report_text import render_text
from tests.build import a_site
from tests.build_report import a_finding, a_report, at

TEXTS = {fault.kind: fault.text for fault in CATALOGUE}
SAYS = "No draw of hot water seen on 12 days"


def away(**given):
    """Give a report of a house that stands empty, with or without anything else open."""
    found = a_finding(
        kind="no_draw", urgency="record", start_s=at(9, 16), end_s=None, summary=SAYS, **given
    )
    report = a_report(findings=(found,))
    return replace(
        report, verdicts=(*report.verdicts, Verdict(kind="no_draw", outcome="found", why=""))
    )


def tells(text):
    lowered = text.lower()
    return [word for word in (SAYS.lower(), "no_draw", "no hot water drawn") if word in lowered]


def test_the_kind_is_one_of_the_catalogue():
    assert {"no_draw"} == PRIVATE_KINDS <= set(TEXTS)


def test_findings_explained_ones_and_verdicts_go():
    report = away()
    report = replace(report, explained=(replace(report.findings[0], suppressed_by="sensor_fault"),))
    shared = shareable(report)
    kinds = {item.kind for item in (*shared.findings, *shared.explained, *shared.verdicts)}
    assert not kinds & PRIVATE_KINDS


def test_the_page_that_is_handed_on_does_not_tell():
    report = away()
    assert tells(render_report(report, a_site(), texts=TEXTS, inline=False)) == []
    clear = replace(
        report, findings=(), verdicts=(Verdict(kind="no_draw", outcome="clear", why=""),)
    )
    assert tells(render_report(clear, a_site(), texts=TEXTS, inline=False)) == []


def test_the_list_of_all_homes_does_not_tell():
    site = FleetSite(
        name="Mill Lane 4", slug="mill", state="ready", report=away(), last_data_s=at(9, 28)
    )
    page = fleet_page([site], texts=TEXTS, now_s=at(9, 28))
    assert tells(render("fleet.html", page=page)) == []
    assert tells(repr(page)) == []


def test_whoever_looks_at_the_data_at_home_is_told():
    assert tells(render_text(away(), texts=TEXTS))
