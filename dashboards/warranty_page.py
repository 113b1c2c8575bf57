"""The warranty record of a plant: how it went in, what was promised, what it stood."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from markupsafe import Markup

from analysis.results import Report
from analysis.site import Site
from analysis.units import SECONDS_PER_HOUR
from analysis.warranty.hot_years import LEVELS_C, HotYear
from analysis.warranty.judge import Judged, warranty_end
from dashboards.figures.hot_hours import hot_hours
from dashboards.format import day, duration, number, quantity, share, span
from dashboards.links import finding_path
from dashboards.site_facts import Fact
from dashboards.texts import Texts, title_of
from dashboards.warranty_history import Edit
from dashboards.warranty_words import (
    FLUID_WORDS,
    OUTCOME_WORDS,
    change_words,
    direction,
    term_words,
)

NOT_GIVEN = "not on record"
_HOT_KINDS = ("stagnation", "fluid_stress")


@dataclass(frozen=True, slots=True, kw_only=True)
class TermLine:
    """A term with what became of it; `number` is its place in the site file, 0 in words alone."""

    number: int
    says: str
    text: str
    outcome: str
    words: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeLine:
    """A dated change of a fact, or a part that was put in."""

    when: str
    what: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitLine:
    """A visit on record; `what` is what of it went into the site's facts."""

    number: int
    day: date
    who: str
    what: tuple[str, ...]

    @property
    def when(self) -> str:
        """The day in words."""
        return day(self.day)


@dataclass(frozen=True, slots=True, kw_only=True)
class HotLine:
    """A year of the table under the picture."""

    year: str
    hours: tuple[str, ...]
    standing: str
    peak: str
    pressure: str
    seen: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HotFinding:
    """A finding about heat that the plant stood."""

    title: str
    when: str
    summary: str
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WarrantyView:
    """Everything the page shows."""

    as_of: str
    commissioning: tuple[Fact, ...]
    papers: tuple[Fact, ...]
    terms: tuple[TermLine, ...]
    changes: tuple[ChangeLine, ...]
    picture: Markup
    years: tuple[HotLine, ...]
    findings: tuple[HotFinding, ...]
    visits: tuple[VisitLine, ...]
    edits: tuple[Edit, ...]


def warranty_view(
    site: Site,
    *,
    slug: str,
    report: Report | None,
    judged: Sequence[Judged],
    years: Sequence[HotYear],
    visits: tuple[VisitLine, ...],
    edits: tuple[Edit, ...],
    texts: Texts,
    as_of: date,
) -> WarrantyView:
    """Put the record together."""
    return WarrantyView(
        as_of=day(as_of),
        commissioning=commissioning_facts(site),
        papers=_papers(site, as_of),
        terms=_terms(site, judged),
        changes=change_lines(site),
        picture=hot_hours(years),
        years=tuple(_hot_line(one) for one in reversed(years)),
        findings=() if report is None else _hot_findings(report, slug, texts),
        visits=visits,
        edits=edits,
    )


def commissioning_facts(site: Site) -> tuple[Fact, ...]:
    """Give how the plant went into service: the facts before any dated change."""
    made, loop = site.commissioned, site.loop
    mixture = FLUID_WORDS[loop.fluid]
    if loop.fluid != "water":
        mixture = f"{100 * loop.concentration_frac:.3g} % {mixture} by mass"
    serials = ", ".join(made.serials) if made else ""
    return (
        Fact(label="Filled on", value=_on(made.filled if made else None)),
        Fact(label="Cold fill pressure", value=_quantity(loop.pressure_bar, "bar")),
        Fact(label="Flow set", value=_quantity(loop.flow_l_min, "l/min")),
        Fact(label="Mixture", value=mixture),
        Fact(label="Tubes went in on", value=_on(made.tubes_fitted if made else None)),
        *_arrays(site),
        Fact(label="Put into service by", value=(made and made.by) or NOT_GIVEN),
        Fact(label="Their registration", value=(made and made.registration) or NOT_GIVEN),
        Fact(label="Serial numbers of the collectors", value=serials or NOT_GIVEN),
    )


def _arrays(site: Site) -> list[Fact]:
    facts = []
    for place, array in enumerate(site.arrays, start=1):
        which = f", array {place}" if len(site.arrays) > 1 else ""
        tubes = f"{number(array.tubes)} tubes, " if array.tubes else ""
        facts.append(
            Fact(
                label=f"Pitch and direction{which}",
                value=f"{array.tilt_deg:.3g}° from level, {direction(array.azimuth_deg)}",
                note=f"{tubes}{array.area_m2:.4g} m² {array.area_basis}",
            )
        )
    return facts


def _papers(site: Site, as_of: date) -> tuple[Fact, ...]:
    papers = site.warranty
    if papers is None:
        return ()
    end = warranty_end(papers)
    years = f"{papers.years:.3g}"
    return (
        Fact(label="From", value=day(papers.start)),
        Fact(label="Years", value=years),
        Fact(
            label="Ended on" if end <= as_of else "Ends on",
            value=day(end),
            note="" if end > as_of else "What came after does not count below.",
        ),
    )


def _terms(site: Site, judged: Sequence[Judged]) -> tuple[TermLine, ...]:
    count = len(site.warranty.terms) if site.warranty else 0
    return tuple(
        TermLine(
            number=place if place <= count else 0,
            says=term_words(one.term),
            text=one.term.text or "" if one.term.kind != "other" else "",
            outcome=one.outcome,
            words=OUTCOME_WORDS[one.outcome],
            why=one.why,
        )
        for place, one in enumerate(judged, start=1)
    )


def change_lines(site: Site) -> tuple[ChangeLine, ...]:
    """Give dated changes and parts together, the newest first."""
    dated = [
        (
            one.date,
            ChangeLine(
                when=day(one.date),
                what=change_words(one.key, one.value),
                note=one.why or "",
            ),
        )
        for one in site.changes
    ]
    for part in site.parts:
        serial = f", number {part.serial}" if part.serial else ""
        note = ", ".join(text for text in (part.why, part.by and f"by {part.by}") if text)
        line = ChangeLine(when=day(part.date), what=f"New: {part.what}{serial}", note=note)
        dated.append((part.date, line))
    dated.sort(key=lambda pair: pair[0], reverse=True)
    return tuple(line for _, line in dated)


def _hot_line(one: HotYear) -> HotLine:
    hours = one.above_h
    low, high = one.lowest_cold_bar, one.highest_bar
    known = [f"{value:.1f}" for value in (low, high) if value is not None]
    return HotLine(
        year=str(one.year),
        hours=tuple(
            "not known" if hours is None else hours_words(hours[level]) for level in LEVELS_C
        ),
        standing="not known" if one.peak_c is None else str(one.standing_days),
        peak=quantity(one.peak_c, "°C"),
        pressure=f"{' to '.join(known)} bar" if known else "not measured",
        seen=share(one.seen_frac),
    )


def hours_words(hours: float) -> str:
    """Write hours so that a few minutes are not rounded to nothing, and nothing is said as such."""
    if hours <= 0.0:
        return "none"
    if hours < 1.0:
        return duration(hours * SECONDS_PER_HOUR)
    return f"{number(hours, decimals=1)} h"


def _hot_findings(report: Report, slug: str, texts: Texts) -> tuple[HotFinding, ...]:
    found = [one for one in (*report.findings, *report.explained) if one.kind in _HOT_KINDS]
    return tuple(
        HotFinding(
            title=title_of(one.kind, texts),
            when=span(one.start_s, one.end_s, report.timezone),
            summary=one.summary,
            href=finding_path(slug, one),
        )
        for one in sorted(found, key=lambda one: one.start_s, reverse=True)
    )


def _on(when: date | None) -> str:
    return NOT_GIVEN if when is None else day(when)


def _quantity(value: float | None, unit: str) -> str:
    return quantity(value, unit, unknown=NOT_GIVEN)
