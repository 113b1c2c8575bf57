"""A site's page: what it gave, what is the matter, and what that rests on."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from markupsafe import Markup

from analysis.results import Bounded, Finding, Report, Urgency
from analysis.site import Site
from dashboards.figures.balance import balance
from dashboards.figures.strip_frame import frame
from dashboards.figures.year_strip import year_strip
from dashboards.format import (
    URGENCY_WORDS,
    bound_of,
    bounded,
    bounded_parts,
    day,
    day_of,
    known,
    money,
    number,
    plural,
    quantity,
    sentence,
    share,
    span,
)
from dashboards.links import finding_path
from dashboards.losses import open_findings, rank
from dashboards.texts import (
    Texts,
    design_basis,
    heat_basis,
    title_of,
    titles,
    weather_basis,
)

_LEAST_COVERAGE_FOR_PROMISE = 0.9

MARK_WORDS: Mapping[str, str] = {
    **{str(urgency): words for urgency, words in URGENCY_WORDS.items()},
    "calm": "Nothing open",
    "none": "Not judged",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingLine:
    """A finding in a list."""

    href: str
    mark: Urgency
    urgency: str
    title: str
    when: str
    lost: str
    summary: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """A figure with its name and, where needed, a line on what it means."""

    label: str
    value: str
    note: str = ""


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
    strip_days: Mapping[str, Any]
    strip_says: str
    expected_known: bool
    facts: tuple[Fact, ...]
    savings: tuple[Fact, ...]
    condition: tuple[Fact, ...]
    open: tuple[FindingLine, ...]
    past: tuple[FindingLine, ...]
    clear: tuple[str, ...]
    unjudged: tuple[Fact, ...]
    basis: tuple[Fact, ...]
    notes: tuple[str, ...]
    rows: str
    rejected: tuple[Fact, ...]
    describes: str


def site_view(report: Report, *, site: Site, slug: str, texts: Texts, links: bool) -> SiteView:
    """Put a report into words and pictures.

    Parameters
    ----------
    report, site : the analysis and the facts it rests on
    slug : the site's name in addresses
    texts : the catalogue's words
    links : whether findings have pages to lead to; else they lead to `#key` on the same page
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
        strip=year_strip(report, titles=titles(texts), hrefs=hrefs),
        strip_days=_strip_days(report),
        strip_says=_strip_says(report),
        expected_known=any(item.expected_kwh is not None for item in report.days),
        facts=_facts(report),
        savings=_savings(report),
        condition=_condition(report, site),
        open=tuple(line_of[place] for place in still),
        past=tuple(line_of[place] for place in past),
        clear=tuple(
            title_of(item.kind, texts) for item in report.verdicts if item.outcome == "clear"
        ),
        unjudged=tuple(
            Fact(label=title_of(item.kind, texts), value=sentence(item.why))
            for item in report.verdicts
            if item.outcome == "cannot_judge"
        ),
        basis=_basis(report),
        notes=tuple(sentence(note) for note in report.basis.notes),
        rows=_rows(report),
        rejected=tuple(
            Fact(label=place_of(item.file, item.line, item.column), value=item.why)
            for item in report.rejected
        ),
        describes=describe(site),
    )


def place_of(file: str, line: int | None, column: str | None) -> str:
    """Write where something stands: `log.csv, line 812, column t_collector_c`."""
    parts = [file, f"line {line}" if line is not None else "", f"column {column}" if column else ""]
    return ", ".join(part for part in parts if part)


def _href(slug: str, finding: Finding, links: bool) -> str:
    address = finding_path(slug, finding)
    return address if links else f"#{address.rsplit('/', 1)[1]}"


def _line(report: Report, place: int, href: str, texts: Texts) -> FindingLine:
    finding = report.findings[place]
    return FindingLine(
        href=href,
        mark=finding.urgency,
        urgency=URGENCY_WORDS[finding.urgency],
        title=title_of(finding.kind, texts),
        when=span(finding.start_s, finding.end_s, report.timezone),
        lost=bounded(finding.lost, unknown=""),
        summary=sentence(finding.summary),
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


def _facts(report: Report) -> tuple[Fact, ...]:
    totals = report.totals
    expected = bound_of(totals.expected_kwh, totals.expected_low_kwh, totals.expected_high_kwh)
    promise = quantity(totals.design_kwh, "kWh", unknown="not known")
    pro_rata = any(month.design_pro_rata for month in report.months)
    return (
        Fact(
            label="A healthy collector would have given",
            value=bounded(expected, unknown="not known, because the sun was not measured"),
            note="In this weather, against the store temperatures that occurred.",
        ),
        Fact(
            label="Promised",
            value=promise,
            note="For the climate, not the weather."
            + (
                " Shortened where less than nine tenths of a month were measured."
                if pro_rata or totals.coverage < _LEAST_COVERAGE_FOR_PROMISE
                else ""
            ),
        ),
        Fact(
            label="Measured",
            value=f"{share(totals.coverage)} of the time",
            note="What was not measured is not counted: neither as zero nor as heat.",
        ),
        Fact(label="Pump", value=quantity(totals.pump_kwh, "kWh of electricity")),
    )


def _savings(report: Report) -> tuple[Fact, ...]:
    saved = report.savings
    if saved is None:
        return ()
    fuel = bound_of(saved.fuel_kwh, saved.fuel_low_kwh, saved.fuel_high_kwh)
    carbon = bound_of(saved.co2_kg, saved.co2_low_kg, saved.co2_high_kg)
    net = money(saved.money_net, saved.currency)
    if known(saved.money_net_low) and known(saved.money_net_high):
        low = money(saved.money_net_low, saved.currency)
        net += f", likely between {low} and {money(saved.money_net_high, saved.currency)}"
    return (
        Fact(
            label="Useful heat",
            value=f"{number(saved.useful_kwh)} kWh",
            note="Delivered heat less what store and pipes lost because of it.",
        ),
        Fact(label="Fuel not burnt", value=bounded(fuel)),
        Fact(label="Money, after the pump", value=net),
        Fact(label="CO₂, after the pump", value=bounded(carbon, "kg", unknown="not known")),
    )


def _condition(report: Report, site: Site) -> tuple[Fact, ...]:
    state = report.condition
    if state is None:
        return ()
    of_tubes = f" of {site.tubes}" if site.tubes else ""
    parts: tuple[tuple[str, Bounded | None, str], ...] = (
        (f"Tubes at work{of_tubes}", state.tubes_working, ""),
        ("Peak efficiency η₀", state.eta0, ""),
        ("Heat loss a₁", state.a1_w_m2k, "W/(m²·K)"),
    )
    return tuple(
        Fact(
            label=label, value=bounded(value, unit, unknown="cannot be told yet").replace(" ,", ",")
        )
        for label, value, unit in parts
    )


def _basis(report: Report) -> tuple[Fact, ...]:
    basis = report.basis
    return (
        Fact(label="Delivered heat", value=heat_basis(basis.heat)),
        Fact(label="Weather", value=weather_basis(basis.weather)),
        Fact(label="Promise", value=design_basis(basis.design)),
        Fact(
            label="Bounds",
            value="“Likely” means 95 times in 100. Sensor class, flow, fluid and sampling are in "
            "it; errors that stay the same all year are added, never averaged away.",
        ),
    )


def _rows(report: Report) -> str:
    rows = report.rows
    return (
        f"{plural(rows.read, 'row')} read, {rows.kept:,} used, {rows.duplicate:,} doubled, "
        f"{rows.rejected:,} rejected"
    )


def _strip_days(report: Report) -> Mapping[str, Any]:
    """Give the numbers under the strip, for the line that follows the pointer."""
    if not report.days:
        return {}
    last = date.fromisoformat(report.days[-1].date)
    first = frame(end=last, folds=1)[0].first
    by_date = {item.date: item for item in report.days}
    length = (frame(end=last, folds=1)[0].last - first).days + 1
    names = ((first + timedelta(days=n)).isoformat() for n in range(length))
    days = [by_date.get(name) for name in names]

    def column(name: str, digits: int) -> list[float | None]:
        values = [getattr(item, name) if item else None for item in days]
        return [round(v, digits) if v is not None else None for v in values]

    return {
        "first": first.isoformat(),
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


def describe(site: Site) -> str:
    """Say in one line what stands on the roof."""
    words = {"heat_pipe": "heat pipe", "direct_flow": "direct-flow", "flat_plate": "flat plate"}
    kinds = " and ".join(dict.fromkeys(words[array.collector] for array in site.arrays))
    tubes = f"{plural(site.tubes, f'{kinds} tube')}" if site.tubes else f"{kinds} collectors"
    return (
        f"{tubes}, {number(site.area_m2, decimals=1)} m², store of {number(site.store.volume_l)} l"
    )
