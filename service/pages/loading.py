"""What a site's pages need, loaded in one go."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from sqlalchemy.orm import Session

from analysis.days import local_midnight_s
from analysis.record import Record
from analysis.results import Report
from analysis.site import Site as SiteFacts
from analysis.sitefile import parse_site
from dashboards.fleet_page import FleetSite, State
from dashboards.format import ago
from dashboards.links import site_path
from dashboards.private import shareable
from dashboards.site_facts import describe
from service.accounts.rights import Right
from service.assessments import queries as assessment_queries
from service.care import queries as care_queries
from service.care.actions import rules_of, without_aside
from service.care.life import STATE_WORDS
from service.context import Context
from service.db.models import FindingCase, Site, SiteReport
from service.ingest import queries as ingest_queries
from service.sites import queries as site_queries

_BUSY = {
    "reading": "Its logs are being read. This page follows by itself.",
    "analysing": "Its days are being looked at. This page follows by itself.",
}
_DAY_S = 86_400


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteHead:
    """What stands above and below every page of a site."""

    name: str
    slug: str
    path: str
    describes: str
    last_data: str
    problem: str | None
    busy: str | None
    invented: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Loaded:
    """A site with everything its pages show."""

    row: Site
    facts: SiteFacts
    head: SiteHead
    report: Report | None


def load(db: Session, here: Context, slug: str, *, may: Right = "see") -> Loaded:
    """Load a site for the person at the browser, who needs this right."""
    caller = here.person(db, may=may)
    row = here.site_of(db, caller, slug)
    saved = db.get(SiteReport, row.id)
    facts = parse_site(row.text)
    pending = assessment_queries.pending_of(db, site_id=row.id)
    last = ago(saved.data_until_s if saved else None, now_s=here.now().timestamp())
    head = SiteHead(
        name=row.name,
        slug=row.slug,
        path=site_path(row.slug),
        describes=describe(facts),
        last_data=f"last data {last}" if saved else "no data yet",
        problem=row.problem,
        busy=_BUSY[pending] if pending else None,
        invented=row.invented,
    )
    report = assessment_queries.latest_report(db, site_id=row.id) if saved else None
    if report is not None and not caller.is_own_machine:
        # Where people sign in, every page is one that several see.
        report = shareable(report)
    return Loaded(row=row, facts=facts, head=head, report=report)


def record_of_day(db: Session, site: Site, when: date) -> Record | None:
    """Give the rows of a local day."""
    start_s = local_midnight_s(when, site.timezone)
    end_s = local_midnight_s(date.fromordinal(when.toordinal() + 1), site.timezone)
    return record_of(db, site, start_s, end_s)


def record_of(db: Session, site: Site, start_s: int, end_s: int) -> Record | None:
    """Give the rows of a span, for plots, None where there are none."""
    found = ingest_queries.load_record(
        db, site_id=site.id, start_s=start_s, end_s=end_s, extremes=True
    )
    return found if found is not None and len(found) else None


def keys_in_use(db: Session, site: Site) -> int:
    """Count the gateway keys."""
    return len(site_queries.keys_of(db, site_id=site.id))


def fleet_sites(db: Session, *, firm_id: int, today: date) -> list[FleetSite]:
    """Give the firm's sites as the fleet page wants them, without what is set aside."""
    refusals = ingest_queries.last_refusals(db, firm_id=firm_id)
    cases = care_queries.cases_of_firm(db, firm_id=firm_id)
    return [
        _fleet_site(entry, refusals.get(entry.site.id), cases.get(entry.site.slug, {}), today)
        for entry in assessment_queries.fleet(db, firm_id=firm_id, invented=True)
    ]


def _fleet_site(
    entry: assessment_queries.FleetEntry,
    refusal: str | None,
    cases: Mapping[str, FindingCase],
    today: date,
) -> FleetSite:
    report, aside = entry.report, 0
    if report is not None:
        report, aside = without_aside(report, cases, today=today)
    return FleetSite(
        slug=entry.site.slug,
        name=entry.site.name,
        report=report,
        last_data_s=entry.data_until_s,
        state=_state(entry),
        invented=entry.site.invented,
        note=_note(entry, refusal),
        aside=aside,
        life={
            key: STATE_WORDS[rules_of(case).state]
            for key, case in cases.items()
            if case.state not in ("new", "set_aside")
        },
    )


def _state(entry: assessment_queries.FleetEntry) -> State:
    if entry.report is not None:
        return "ready"
    if entry.pending is not None:
        return "working"
    return "refused" if entry.site.problem else "empty"


def _note(entry: assessment_queries.FleetEntry, refusal: str | None) -> str | None:
    """Say what a site waits for, or why nothing came of its log."""
    if entry.site.problem:
        return entry.site.problem
    if entry.pending is not None:
        return None if entry.report is None else _BUSY[entry.pending]
    return refusal if entry.report is None else None
