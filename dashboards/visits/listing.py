"""The list of visits: which sites want one, most urgent and most costly first, and what is planned.

What a finding costs a week is its loss of the last 30 days, as far as it lasted within them, at
the worth of this site's useful heat.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from analysis.results import Bounded, Finding, Report, Urgency
from dashboards.format import URGENCY_RANK, URGENCY_WORDS, bounded, day, money_bounded, sentence
from dashboards.links import finding_key, finding_path, site_path
from dashboards.losses import RECENT_DAYS, open_findings, recent_loss, total, worth
from dashboards.texts import Texts, title_of
from dashboards.visits.distance import Place, as_the_crow_flies_km, distance_words

_WEEK_DAYS = 7.0
_DAY_S = 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ListedSite:
    """A site as the list needs it.

    Attributes
    ----------
    report : without what was set aside
    done : keys of findings that were put right and wait for the next logs
    planned : keys of findings that a planned visit is to look at
    """

    slug: str
    name: str
    place: Place
    report: Report | None
    done: Collection[str]
    planned: Collection[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedVisit:
    """A visit as stored."""

    id: int
    slug: str
    site: str
    on: date
    place: Place
    technician: str
    note: str
    titles: Sequence[str]
    urgency: Urgency | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WantedFinding:
    """A finding that wants a visit, in words."""

    key: str
    title: str
    href: str
    mark: Urgency
    summary: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WantingSite:
    """A site that wants a visit, in words; `money_a_week` is the value, then its bounds."""

    slug: str
    name: str
    href: str
    mark: Urgency
    urgency: str
    findings: tuple[WantedFinding, ...]
    money_a_week: tuple[str, str] | None
    heat_a_week: str
    distance: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitLine:
    """A planned visit, in words."""

    id: int
    site: str
    mark: Urgency | str
    urgency: str
    what: str
    technician: str
    note: str
    distance: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedDay:
    """The visits of one day."""

    iso: str
    words: str
    late: bool
    visits: tuple[VisitLine, ...]


def wanting(finding: Finding, site: ListedSite) -> bool:
    """Tell whether a finding wants a visit that nobody has planned or made yet."""
    key = finding_key(finding)
    return (
        finding.urgency in ("act", "visit")
        and finding.end_s is None
        and key not in site.done
        and key not in site.planned
    )


def wanting_sites(
    sites: Iterable[ListedSite], *, texts: Texts, base: Place | None
) -> tuple[WantingSite, ...]:
    """Give the sites that want a visit: by urgency, then money lost a week, then heat.

    Parameters
    ----------
    sites : a firm's
    texts : the catalogue's words
    base : where its people set out from, None where nobody said
    """
    ranked = []
    for site in sites:
        if site.report is None:
            continue
        found = [one for one in open_findings(site.report) if wanting(one, site)]
        if not found:
            continue
        heat = total(_a_week(site.report, one) for one in found)
        cost = worth(site.report, heat)
        order = (
            min(URGENCY_RANK[one.urgency] for one in found),
            -(cost.value if cost else -1.0),
            -(heat.value if heat else 0.0),
            site.name,
        )
        ranked.append((order, _wanting(site, found, heat, cost, texts, base)))
    return tuple(row for _, row in sorted(ranked, key=lambda pair: pair[0]))


def _wanting(
    site: ListedSite,
    found: Sequence[Finding],
    heat: Bounded | None,
    cost: Bounded | None,
    texts: Texts,
    base: Place | None,
) -> WantingSite:
    first = found[0]
    assert site.report is not None
    currency = site.report.savings.currency if site.report.savings else None
    said = money_bounded(cost, currency).partition(", ")
    return WantingSite(
        slug=site.slug,
        name=site.name,
        href=site_path(site.slug),
        mark=first.urgency,
        urgency=URGENCY_WORDS[first.urgency],
        findings=tuple(
            WantedFinding(
                key=finding_key(one),
                title=title_of(one.kind, texts),
                href=finding_path(site.slug, one),
                mark=one.urgency,
                summary=sentence(one.summary),
            )
            for one in found
        ),
        money_a_week=(said[0], said[2]) if cost else None,
        heat_a_week=bounded(heat, unknown="not known"),
        distance=_distance(base, site.place),
    )


def _a_week(report: Report, finding: Finding) -> Bounded | None:
    """Give what a finding lost lately, as a rate a week."""
    lost = recent_loss(report, finding)
    if lost is None:
        return None
    lasted = (report.end_s - finding.start_s) / _DAY_S
    weeks = min(max(lasted, 1.0), float(RECENT_DAYS)) / _WEEK_DAYS
    return Bounded(value=lost.value / weeks, low=lost.low / weeks, high=lost.high / weeks)


def _distance(base: Place | None, place: Place) -> str | None:
    return distance_words(as_the_crow_flies_km(base, place)) if base else None


def planned_days(
    visits: Iterable[PlannedVisit], *, base: Place | None, today: date
) -> tuple[PlannedDay, ...]:
    """Give planned visits by day, each day the most urgent first, then the nearest."""
    by_day: dict[date, list[PlannedVisit]] = {}
    for visit in visits:
        by_day.setdefault(visit.on, []).append(visit)
    return tuple(
        PlannedDay(
            iso=when.isoformat(),
            words=_day_words(when, today),
            late=when < today,
            visits=tuple(
                _line(one, base) for one in sorted(lines, key=lambda visit: _order(visit, base))
            ),
        )
        for when, lines in sorted(by_day.items())
    )


def _order(visit: PlannedVisit, base: Place | None) -> tuple[int, float, str]:
    rank = URGENCY_RANK[visit.urgency] if visit.urgency else len(URGENCY_RANK)
    return rank, as_the_crow_flies_km(base, visit.place) if base else 0.0, visit.site


def _day_words(when: date, today: date) -> str:
    near: Mapping[date, str] = {today: "Today", today + timedelta(days=1): "Tomorrow"}
    words = day(when, weekday=True)
    return f"{near[when]}, {words}" if when in near else words


def _line(visit: PlannedVisit, base: Place | None) -> VisitLine:
    return VisitLine(
        id=visit.id,
        site=visit.site,
        mark=visit.urgency or "calm",
        urgency=URGENCY_WORDS[visit.urgency] if visit.urgency else "routine",
        what=", ".join(visit.titles) or "Routine visit",
        technician=visit.technician or "nobody yet",
        note=visit.note,
        distance=_distance(base, visit.place),
    )
