"""Pages: what they say, that they never break on unknowns, and that names cannot break out."""

import dataclasses
import json
import re
from datetime import date
from html.parser import HTMLParser
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.ledger_result import Ledger
from analysis.record import Record
from analysis.results import Bounded, Evidence, Report, Savings
from analysis.site import Site
from analysis.sitefile import parse_site
from dashboards.care_view import LifeStep, life_view
from dashboards.finding_page import FindingView, finding_view
from dashboards.fleet_page import FleetPage, FleetSite, fleet_page
from dashboards.links import finding_key, finding_of_key
from dashboards.losses import not_counted, recent_loss, worth
from dashboards.missing_heat import missing_heat
from dashboards.render import FOLDER, environment, render, script_json, warm
from dashboards.report_page import render_report
from dashboards.short_report import short_report
from dashboards.site_form import GROUPS, field_of
from dashboards.site_page import MARK_WORDS, site_view
from dashboards.theme import DARK, LIGHT, Palette, css_variables, var
from service.sites.form import site_file_from_form
from tests.build_report import a_finding, a_report, a_year, an_empty_report, at
from tests.build_service import site_file

HOSTILE = "<img src=x onerror=alert(1)>\"'</script><script>alert(2)</script>"
NOW = at(1, 1, 6, year=2026)
TEXTS: dict[str, Any] = {
    "lost_circulation": SimpleNamespace(
        title="Loop stands still", customer="The roof keeps its heat.", technician="It boils."
    )
}


class _Page(HTMLParser):
    """Collects elements and visible text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self._hidden = 0
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._hidden += tag in ("script", "style")

    def handle_endtag(self, tag: str) -> None:
        self._hidden -= tag in ("script", "style")

    def handle_data(self, data: str) -> None:
        if not self._hidden:
            self.words.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.words))


@pytest.fixture
def site() -> Site:
    return parse_site(site_file())


def a_fleet(*reports: Report | None) -> FleetPage:
    sites = [
        FleetSite(
            slug=f"site-{n}",
            name=f"Site {n}",
            report=report,
            last_data_s=NOW - 1200 if report else None,
            state="ready" if report else "empty",
        )
        for n, report in enumerate(reports)
    ]
    return fleet_page(sites, texts=TEXTS, now_s=NOW)


def site_page(report: Report, site: Site) -> str:
    view = site_view(report, site=site, slug="mill", texts=TEXTS, links=True)
    head = SimpleNamespace(
        name=site.place.name, slug="mill", path="/sites/mill", describes=view.describes,
        last_data="last data just now", problem=None, busy=None,
        invented=False,
    )  # fmt: skip
    return render(
        "site.html", site=head, view=view, mark_words=MARK_WORDS, sizes=("month",),
        day=None, uploads=(), visits=(), keys=0, message=None,
    )  # fmt: skip


def lasting(**given: Any) -> Any:
    return a_finding(**{"end_s": None, **given})


def test_the_fleet_is_ranked_by_urgency_then_by_lost_heat() -> None:
    small = a_report(findings=(lasting(lost=Bounded(value=10, low=8, high=12)),))
    large = a_report(findings=(lasting(lost=Bounded(value=90, low=80, high=99)),))
    now = a_report(findings=(lasting(urgency="act", lost=None),))
    page = a_fleet(small, large, now)
    assert [row.name for row in page.asking] == ["Site 2", "Site 1", "Site 0"]
    assert page.headline == "3 of 3 roofs need somebody"
    assert page.lost == "100 kWh, likely between 88 and 111"


def test_what_is_over_asks_for_nobody() -> None:
    page = a_fleet(a_report(findings=(a_finding(),)))
    assert not page.asking
    assert page.calm[0].sentence.startswith("Over: Loop stands still, 3 May to 4 June 2025.")
    assert page.headline == "The roof needs nobody"


def test_only_act_and_visit_ask_for_somebody() -> None:
    watched = a_report(findings=(lasting(urgency="watch"),))
    noted = a_report(findings=(lasting(urgency="record"),))
    page = a_fleet(watched, noted)
    assert not page.asking
    assert [row.name for row in page.watching] == ["Site 0"]
    assert [row.name for row in page.calm] == ["Site 1"]


def test_the_short_report_is_enough_for_the_fleet() -> None:
    before = [day._replace(date=f"2024{day.date[4:]}") for day in a_year(seed=5)]
    over = a_finding(start_s=at(2, 1, year=2024), end_s=at(3, 1, year=2024))
    long = a_finding(start_s=at(11, 20, year=2024), end_s=None, kind="pipe_heat_loss")
    whole = a_report()
    whole = dataclasses.replace(
        whole, days=(*before, *whole.days), findings=(*whole.findings, over)
    )
    short = short_report(whole)
    # The week that holds the last day of 2025 and the 51 before it.
    assert short.days[0].date == "2025-01-06"
    assert a_fleet(whole) == a_fleet(short)
    lasting = dataclasses.replace(whole, findings=(long, over))
    assert short_report(lasting).days[0].date == "2024-11-20"
    assert recent_loss(short_report(lasting), long) == recent_loss(lasting, long)
    assert a_fleet(lasting) == a_fleet(short_report(lasting))
    nothing_lasts = dataclasses.replace(whole, findings=(over,))
    assert short_report(nothing_lasts).days == short.days
    assert short_report(dataclasses.replace(whole, days=())).days == ()


def test_an_empty_fleet_says_the_next_step() -> None:
    page = _Page(render("fleet.html", page=a_fleet()))
    assert "Add the first installation" in page.text
    assert ("a", {"class": "button", "href": "/sites/new"}) in page.tags


def test_a_site_without_a_log_says_what_it_waits_for() -> None:
    page = _Page(render("fleet.html", page=a_fleet(None)))
    assert "Waiting for a log" in page.text
    assert "no data yet" in page.text


def test_the_loss_of_the_last_thirty_days_is_a_part_of_the_whole() -> None:
    report = a_report()
    degraded = report.findings[1]
    recent = recent_loss(report, degraded)
    assert recent is not None
    assert degraded.lost is not None
    assert 0 < recent.value < degraded.lost.value
    assert recent_loss(report, report.findings[0]) == Bounded(value=0, low=0, high=0)


def test_a_site_page_says_heat_with_its_bounds_and_what_it_rests_on(site: Site) -> None:
    text = _Page(site_page(a_report(), site)).text
    report = a_report()
    assert f"{report.totals.delivered_kwh:.0f}" in text
    assert "likely between" in text
    assert "Measured from the loop's flow" in text
    assert "No pressure was logged." in text
    assert "roof-2025-03.csv, line 812, column t_collector_c" in text


def test_every_page_renders_where_nothing_at_all_is_known(site: Site) -> None:
    nothing = an_empty_report()
    text = _Page(site_page(nothing, site)).text
    assert "Delivered heat is not known" in text
    assert "None" not in text
    assert "nan" not in text.lower().split()
    assert "None" not in _Page(render_report(nothing, site, inline=False)).text
    assert "None" not in _Page(render("fleet.html", page=a_fleet(nothing))).text


def test_without_weather_the_strip_is_held_against_the_promise(site: Site) -> None:
    text = _Page(site_page(a_report(days=a_year(weather=False)), site)).text
    assert "promised, because the sun was not measured" in text
    assert "not known, because the sun was not measured" in text


def hostile_report() -> Report:
    report = a_report(site=HOSTILE)
    finding = lasting(
        summary=HOSTILE, check_next=(HOSTILE,), cautions=(HOSTILE,), likely_causes=(HOSTILE,),
        evidence=(dataclasses.replace(report.findings[0].evidence[0], what=HOSTILE),),
    )  # fmt: skip
    problem = dataclasses.replace(report.rejected[0], file=HOSTILE, column=HOSTILE, why=HOSTILE)
    notes = dataclasses.replace(report.basis, notes=(HOSTILE,))
    return dataclasses.replace(report, findings=(finding,), rejected=(problem,), basis=notes)


def assert_harmless(html: str) -> None:
    page = _Page(html)
    assert not [tag for tag, attrs in page.tags if tag == "img" or "onerror" in attrs]
    ours = {"src", "type", "class", "defer", "data-figure"}
    scripts = [attrs for tag, attrs in page.tags if tag == "script"]
    assert all(attrs and set(attrs) <= ours for attrs in scripts)


def finding_html(view: FindingView, head: SimpleNamespace) -> str:
    step = LifeStep(at=HOSTILE, who=HOSTILE, words="accepted", note=HOSTILE)
    return render(
        "finding.html",
        site=head,
        view=view,
        figure=None,
        hours="",
        course=None,
        life=life_view(
            state="accepted",
            words="accepted",
            until=None,
            may=("put_right", "set_aside"),
            steps=[step],
        ),
        usual_until="2026-01-01",
        visits=(),
        message=None,
        problem=HOSTILE,
    )


def test_hostile_names_stay_text_on_every_page(site: Site) -> None:
    evil = dataclasses.replace(site, place=dataclasses.replace(site.place, name=HOSTILE))
    report = hostile_report()
    assert_harmless(site_page(report, evil))
    sites = [FleetSite(slug='"><b>', name=HOSTILE, report=report, last_data_s=1, state="ready")]
    fleet = render("fleet.html", page=fleet_page(sites, texts={}, now_s=NOW))
    assert_harmless(fleet)
    view = finding_view(report.findings[0], report, slug="x", texts={})
    head = SimpleNamespace(name=HOSTILE, path="/sites/x")
    assert_harmless(finding_html(view, head))
    assert_harmless(render_report(report, evil, inline=False))
    assert_harmless(render("error.html", code=404, title=HOSTILE, detail=HOSTILE))


def test_json_in_a_page_cannot_end_its_element() -> None:
    text = str(script_json({"a": "</script><!--&"}))
    assert "<" not in text
    assert json.loads(text) == {"a": "</script><!--&"}


def test_cautions_stand_before_the_checks_and_are_never_missing() -> None:
    report = a_report(findings=(a_finding(cautions=()),))
    view = finding_view(report.findings[0], report, slug="x", texts=TEXTS)
    head = SimpleNamespace(name="Mill", path="/sites/x")
    text = _Page(finding_html(view, head)).text
    assert "licensed" in text
    assert text.index("First, stay safe") < text.index("Look at the controller")


def test_a_finding_tells_what_else_it_explains() -> None:
    report = a_report()
    view = finding_view(report.findings[0], report, slug="x", texts=TEXTS)
    assert [item.label for item in view.explains] == ["Yield shortfall"]
    assert view.title == "Loop stands still"
    assert view.lost == "118 kWh, likely between 97 and 139"


def test_an_open_finding_asks_and_one_that_is_over_does_not(site: Site) -> None:
    ended, still = a_finding(), lasting()
    report = a_report(findings=(ended, still))
    over = finding_view(ended, report, slug="mill", texts=TEXTS)
    open_ = finding_view(still, report, slug="mill", texts=TEXTS)
    assert (over.urgency, over.open, open_.urgency, open_.open) == (
        "Over", False, "Plan a visit", True,
    )  # fmt: skip
    page = _Page(site_page(report, site)).text
    assert page.count("Over Loop stands still") == 1
    assert page.count("Plan a visit Loop stands still since") == 1


def test_a_silence_that_goes_on_is_as_long_as_the_time_without_rows() -> None:
    report = a_report()
    quiet = Evidence(
        what="time without a row", start_s=report.end_s, end_s=report.end_s + 12 * 86400,
        value=288.0, unit="h",
    )  # fmt: skip
    finding = lasting(kind="silence", start_s=report.end_s, lost=None, evidence=(quiet,))
    view = finding_view(finding, a_report(findings=(finding,)), slug="mill", texts=TEXTS)
    assert view.lasted == "12 days"
    assert view.lost == "not known (nothing was logged)"


def test_lost_heat_is_told_in_money_with_wider_bounds_where_prices_are_known() -> None:
    saved = Savings(
        useful_kwh=1000.0, fuel_kwh=1200.0, fuel_low_kwh=1100.0, fuel_high_kwh=1300.0,
        money=90.0, pump_cost=10.0, money_net=80.0, money_net_low=70.0, money_net_high=90.0,
        currency="GBP", co2_kg=None, co2_low_kg=None, co2_high_kg=None,
    )  # fmt: skip
    report = dataclasses.replace(a_report(), savings=saved)
    cost = worth(report, Bounded(value=400.0, low=300.0, high=500.0))
    assert cost is not None
    assert cost.value == pytest.approx(36.0)
    # 100 kWh at 0.09 a kWh, and 1.96 times 4 % of the backup's efficiency, in quadrature.
    assert cost.high - cost.value == pytest.approx((9.0**2 + (1.96 * 0.04 * 36.0) ** 2) ** 0.5)
    assert worth(report, None) is None
    unpriced = dataclasses.replace(saved, money=None)
    assert worth(dataclasses.replace(report, savings=unpriced), cost) is None


def test_the_rows_of_the_missing_heat_add_up_and_say_what_is_no_loss() -> None:
    gap = Bounded(value=9.0, low=8.0, high=10.0)
    rest = Bounded(value=2.0, low=1.0, high=3.0)
    ledger = Ledger(days=30, gap=gap, entries=(), rest=rest, apart=(), untaken_kwh=7.0)
    rows = missing_heat(dataclasses.replace(a_report(), ledger=ledger), texts=TEXTS, slug=None)
    assert [row.sort for row in rows] == ["gap", "untaken", "rest"]
    assert rows[1].label.startswith("No loss")
    assert rows[1].value == "7 kWh"
    assert rows[1].part == pytest.approx(7.0 / 9.0)
    whole = dataclasses.replace(ledger, untaken_kwh=0.0)
    rows = missing_heat(dataclasses.replace(a_report(), ledger=whole), texts=TEXTS, slug=None)
    assert [row.sort for row in rows] == ["gap", "rest"]


def test_why_no_heat_is_counted_is_said_without_calling_it_zero() -> None:
    assert not_counted(a_finding(kind="frost_risk")) == "none counted (a risk, not a loss so far)"
    assert "about a hundredth of the heat" in not_counted(a_finding(kind="short_cycling"))
    assert not_counted(a_finding(kind="night_running")) == "not known"
    assert not_counted(a_finding(kind="stagnation", urgency="watch")) == "not known"
    assert not_counted(a_finding(kind="something_new")) == "not known"


def test_a_finding_keeps_its_address_when_its_start_moves_a_little() -> None:
    report = a_report()
    key = finding_key(report.findings[0])
    assert finding_of_key(report, key) is report.findings[0]
    moved = a_report(findings=(a_finding(start_s=at(5, 6, 11)),))
    assert finding_of_key(moved, key) is moved.findings[0]
    assert finding_of_key(a_report(findings=(a_finding(start_s=at(9, 1)),)), key) is None
    assert finding_of_key(report, "lost_circulation-nonsense") is None
    assert finding_of_key(report, "lost_circulation-20259999T9999") is None


def test_a_report_page_needs_nothing_from_outside(site: Site) -> None:
    n = 1440
    record = Record(
        start_s=(at(5, 17) + np.arange(n) * 60).astype(np.int64),
        step_s=np.full(n, 60.0),
        columns={"collector": np.linspace(20, 190, n), "flow": np.zeros(n)},
        masked={},
    )
    report = a_report(findings=(a_finding(),))
    html = render_report(report, site, texts=TEXTS, record=record)
    page = _Page(html)
    addresses = [
        value
        for tag, attrs in page.tags
        for name, value in attrs.items()
        if name in ("src", "href") and value and tag != "a" and value != "data:,"
    ]
    assert addresses == []
    style = html[: html.index("<script")]
    assert not re.findall(r"url\(\"(?!data:)[^\"]*\"\)", style)
    assert html.count('data-figure="evidence-') == 1
    assert "Loop stands still" in page.text


def test_the_form_with_its_defaults_makes_a_site_file() -> None:
    values = {item.name: item.default for group in GROUPS for item in group.fields}
    values |= {
        "site.name": "Mill", "site.latitude": "52.4", "site.longitude": "-1.5",
        "site.timezone": "Europe/London",
    }  # fmt: skip
    site = parse_site(site_file_from_form(values))
    assert site.arrays[0].tubes == 18
    assert site.backup is None


def test_an_error_of_a_key_finds_its_field() -> None:
    assert field_of("site.latitude") == "site.latitude"
    assert field_of("array.1.tilt_deg") == "array.1.tilt_deg"
    assert field_of("horizon.azimuth_deg") is None
    assert field_of(None) is None


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2, definition of relative luminance."""
    parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio, WCAG 2.2."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_texts_have_the_contrast_of_wcag_aa(palette: Palette) -> None:
    for text in ("ink", "quiet", "delivered_ink", "finding_ink", "link", "design"):
        for ground in ("ground", "surface"):
            ratio = contrast(getattr(palette, text), getattr(palette, ground))
            assert ratio >= 4.5, (text, ground, ratio)
    assert contrast(palette.finding_ink, palette.finding_soft) >= 4.5
    assert contrast(palette.ink, palette.finding_soft) >= 4.5
    assert contrast(palette.surface, palette.finding) >= 4.5  # the mark "act today"
    assert contrast(palette.ground, palette.ink) >= 4.5  # buttons
    assert contrast(palette.ink, palette.sunken) >= 4.5


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_drawn_things_have_the_contrast_of_wcag_aa_for_graphics(palette: Palette) -> None:
    drawn = ("expected", "design", "finding", "hot", "cold", "store", "flow", "sun", "focus")
    for name in drawn:
        assert contrast(getattr(palette, name), palette.surface) >= 3.0, name


def test_each_colour_of_the_palette_is_a_custom_property() -> None:
    css = css_variables()
    assert var("delivered_soft") == "var(--delivered-soft)"
    assert css.count("--delivered-soft:") == 3  # light, dark, and light again on paper
    with pytest.raises(KeyError):
        var("no_such_colour")


def test_a_log_of_years_lets_the_strip_be_turned_back(site: Site) -> None:
    last_year = [day._replace(date=day.date.replace("2025", "2023")) for day in a_year()]
    report = a_report(days=[*last_year, *a_year()])
    view = site_view(report, site=site, slug="x", texts={}, links=True, until=date(2023, 12, 31))
    assert [(words, shown) for words, _, shown in view.strip_years] == [
        ("Jan 2023 to Dec 2023", True),
        ("Jan 2024 to Dec 2024", False),
        ("Jan 2025 to Dec 2025", False),
    ]
    assert view.strip_days["first"] == "2023-01-01"
    assert "Jan 2023" in view.strip


def test_all_pages_are_compiled_before_anybody_asks():
    warm()
    compiled = {name for _, name in environment().cache}
    there = {file.name for file in (FOLDER / "templates").glob("*.html")}
    assert there <= compiled
