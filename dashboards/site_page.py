"""A site's page: what it gave, what is the matter, and what that rests on."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from markupsafe import Markup

from analysis.problem_groups import grouped
from analysis.results import Finding, Report
from analysis.site import Site
from dashboards.check_facts import clear_days_of, field_check_of, readings_of, year_of
from dashboards.design_facts import beside_of, design_of
from dashboards.figures.balance import balance
from dashboards.figures.strip_frame import first_day, frame
from dashboards.figures.year_strip import year_strip
from dashboards.finding_page import explains_words
from dashboards.format import (
    OVER,
    URGENCY_WORDS,
    bound_of,
    bounded,
    bounded_parts,
    day,
    day_of,
    listed,
    plural,
    quantity,
    sentence,
    span,
)
from dashboards.links import finding_path
from dashboards.losses import open_findings, rank
from dashboards.missing_heat import HeatLine, missing_heat, missing_heat_says
from dashboards.set_aside_words import set_aside_facts
from dashboards.site_facts import (
    Fact,
    basis_of,
    condition_of,
    describe,
    facts_of,
    rows_read,
    savings_of,
)
from dashboards.texts import (
    Texts,
    title_of,
    titles,
)

MARK_WORDS: Mapping[str, str] = {
    **{str(urgency): words for urgency, words in URGENCY_WORDS.items()},
    "calm": "Nothing open",
    "none": "Not judged",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingLine:
    """A finding in a list."""

    href: str
    mark: str
    urgency: str
    title: str
    when: str
    lost: str
    summary: str
    explains: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteView:
    """What a report says, in words and pictures, for a page or a printed sheet."""

    name: str
    headline: str
    mark: str
    span: str
    delivered: tuple[str, str, str] | None
    balance: Markup
    strip: Markup
    strip_years: tuple[tuple[str, str, bool], ...]
    strip_days: Mapping[str, Any]
    strip_says: str
    expected_known: bool
    facts: tuple[Fact, ...]
    savings: tuple[Fact, ...]
    this_year: tuple[Fact, ...]
    field_check: tuple[Fact, ...]
    readings: tuple[Fact, ...]
    promise: tuple[Fact, ...]
    condition: tuple[Fact, ...]
    open: tuple[FindingLine, ...]
    past: tuple[FindingLine, ...]
    missing: tuple[HeatLine, ...]
    missing_says: str
    clear: str
    unjudged: tuple[Fact, ...]
    basis: tuple[Fact, ...]
    notes: tuple[str, ...]
    rows: str
    rejected: tuple[Fact, ...]
    describes: str
    linked: bool


def site_view(
    report: Report,
    *,
    site: Site,
    slug: str,
    texts: Texts,
    links: bool,
    until: date | None = None,
) -> SiteView:
    """Put a report into words and pictures.

    Parameters
    ----------
    report, site : the analysis and the facts it rests on
    slug : the site's name in addresses
    texts : the catalogue's words
    links : whether findings have pages to lead to; else they lead to `#key` on the same page
    until : the last day of the strip's year; default: the report's last day
    """
    hrefs = {place: _href(slug, finding, links) for place, finding in enumerate(report.findings)}
    line_of = {place: _line(report, place, hrefs[place], texts) for place in hrefs}
    order = sorted(hrefs, key=lambda place: rank(report.findings[place]))
    still = [place for place in order if report.findings[place].end_s is None]
    past = [place for place in order if report.findings[place].end_s is not None]
    headline, mark = _headline(report, texts)
    totals = report.totals
    delivered = bound_of(totals.delivered_kwh, totals.delivered_low_kwh, totals.delivered_high_kwh)
    return SiteView(
        name=site.place.name,
        headline=headline,
        mark=mark,
        span=_span_words(report),
        delivered=bounded_parts(delivered),
        balance=balance(totals),
        strip=year_strip(report, titles=titles(texts), hrefs=hrefs, end=until),
        strip_years=_strip_years(report, until) if links else (),
        strip_days=_strip_days(report, until),
        strip_says=_strip_says(report),
        expected_known=any(item.expected_kwh is not None for item in report.days),
        facts=facts_of(report),
        savings=savings_of(report),
        this_year=year_of(report),
        field_check=field_check_of(report),
        readings=readings_of(report),
        promise=(*design_of(report), *beside_of(report)),
        condition=condition_of(report, site),
        open=tuple(line_of[place] for place in still),
        past=tuple(line_of[place] for place in past),
        missing=missing_heat(report, texts=texts, slug=slug if links else None),
        missing_says=missing_heat_says(report),
        clear=listed(
            title_of(item.kind, texts) for item in report.verdicts if item.outcome == "clear"
        ),
        unjudged=tuple(
            Fact(label=title_of(item.kind, texts), value=sentence(item.why))
            for item in report.verdicts
            if item.outcome == "cannot_judge"
        ),
        basis=(*basis_of(report), *clear_days_of(report)),
        notes=tuple(sentence(note) for note in report.basis.notes),
        rows=rows_read(report),
        rejected=set_aside_facts(grouped(report.rejected)),
        describes=describe(site),
        linked=links,
    )


def _href(slug: str, finding: Finding, links: bool) -> str:
    address = finding_path(slug, finding)
    return address if links else f"#{address.rsplit('/', 1)[1]}"


def _line(report: Report, place: int, href: str, texts: Texts) -> FindingLine:
    finding = report.findings[place]
    return FindingLine(
        href=href,
        mark=finding.urgency if finding.end_s is None else "calm",
        urgency=URGENCY_WORDS[finding.urgency] if finding.end_s is None else OVER,
        title=title_of(finding.kind, texts),
        when=span(finding.start_s, finding.end_s, report.timezone),
        lost=bounded(finding.lost, unknown=""),
        summary=sentence(finding.summary),
        explains=explains_words(finding, report, texts),
    )


def _headline(report: Report, texts: Texts) -> tuple[str, str]:
    lasting = open_findings(report)
    if lasting:
        first = lasting[0]
        since = day_of(first.start_s, report.timezone)
        return f"{title_of(first.kind, texts)}, since {since}", first.urgency
    if not report.verdicts or all(item.outcome == "cannot_judge" for item in report.verdicts):
        return "Nothing could be judged from this log yet", "none"
    return "Looked at, and nothing is open", "calm"


def _span_words(report: Report) -> str:
    return f"{span(report.start_s, report.end_s, report.timezone)}"


def _strip_years(report: Report, until: date | None) -> tuple[tuple[str, str, bool], ...]:
    """Give the twelve-month stretches to choose from: words, address, whether it is shown."""
    if not report.days:
        return ()
    first, last = (date.fromisoformat(report.days[place].date) for place in (0, -1))
    shown = first_day(first=first, last=last, until=until)
    stretches, end = [], last
    while end >= first:
        begin = first_day(first=first, last=last, until=None if end == last else end)
        words = f"{begin:%b %Y} to {end:%b %Y}"
        stretches.append((words, f"?until={end.isoformat()}", begin == shown))
        end = begin - timedelta(days=1)
    return tuple(reversed(stretches)) if len(stretches) > 1 else ()


def _strip_days(report: Report, until: date | None) -> Mapping[str, Any]:
    """Give the numbers under the strip, for the line that follows the pointer."""
    if not report.days:
        return {}
    begin, last = (date.fromisoformat(report.days[place].date) for place in (0, -1))
    row = frame(first=first_day(first=begin, last=last, until=until), folds=1)[0]
    by_date = {item.date: item for item in report.days}
    names = ((row.first + timedelta(days=n)).isoformat() for n in range(row.days))
    days = [by_date.get(name) for name in names]

    def column(name: str, digits: int) -> list[float | None]:
        values = [getattr(item, name) if item else None for item in days]
        return [round(v, digits) if v is not None else None for v in values]

    return {
        "first": row.first.isoformat(),
        "delivered": column("delivered_kwh", 1),
        "expected": column("expected_kwh", 1),
        "promised": column("design_kwh", 1),
        "coverage": column("coverage", 2),
    }


def _strip_says(report: Report) -> str:
    if not report.days:
        return ""
    best = max(report.days, key=lambda item: item.delivered_kwh or 0.0)
    gaps = sum(item.delivered_kwh is None for item in report.days)
    said = f"{plural(len(report.days), 'day')}, the best one {day(date.fromisoformat(best.date))}"
    said += f" with {quantity(best.delivered_kwh, 'kWh')}"
    return said + (f"; {plural(gaps, 'day')} not measured" if gaps else "")
