"""What a site's pages need, loaded in one go."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from analysis.days import local_midnight_s
from analysis.record import Record
from analysis.results import Report, report_from_json
from analysis.site import Site as SiteFacts
from analysis.sitefile import parse_site
from dashboards.fleet_page import FleetSite, State
from dashboards.format import ago, moment, number, plural, sentence
from dashboards.links import site_path
from dashboards.site_facts import Fact, describe
from dashboards.site_page import place_of
from service.accounts.access import person_of, site_for
from service.assessments import queries as assessment_queries
from service.context import Context
from service.db.models import Site, SiteReport, Upload
from service.ingest import queries as ingest_queries
from service.sites import queries as site_queries

_BUSY = {
    "reading": "Its logs are being read. This page follows by itself.",
    "analysing": "Its days are being looked at. This page follows by itself.",
}
_UPLOADS_SHOWN = 30
_PROBLEMS_SHOWN = 50
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


@dataclass(frozen=True, slots=True, kw_only=True)
class UploadLine:
    """An upload in words."""

    id: int
    name: str
    state: str
    when: str
    says: str
    problems: tuple[Fact, ...]
    understood: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Loaded:
    """A site with everything its pages show."""

    row: Site
    facts: SiteFacts
    head: SiteHead
    report: Report | None


def load(db: Session, here: Context, slug: str) -> Loaded:
    """Load a site that the person at the browser may see."""
    caller = person_of(db, here.request, now=here.now())
    row = site_for(db, caller, slug)
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
    )
    report = report_from_json(saved.report) if saved else None
    return Loaded(row=row, facts=facts, head=head, report=report)


def record_of_day(db: Session, site: Site, when: date) -> Record | None:
    """Give the rows of a local day."""
    start_s = local_midnight_s(when, site.timezone)
    end_s = local_midnight_s(date.fromordinal(when.toordinal() + 1), site.timezone)
    return record_of(db, site, start_s, end_s)


def record_of(db: Session, site: Site, start_s: int, end_s: int) -> Record | None:
    """Give the rows of a span, None where there are none."""
    found = ingest_queries.load_record(db, site_id=site.id, start_s=start_s, end_s=end_s)
    return found if found is not None and len(found) else None


def uploads_of(db: Session, site: Site) -> tuple[UploadLine, ...]:
    """Give the latest uploads in words."""
    found = ingest_queries.list_uploads(db, site.id, limit=_UPLOADS_SHOWN)
    return tuple(_line(upload, site.timezone) for upload in found)


def keys_in_use(db: Session, site: Site) -> int:
    """Count the gateway keys."""
    return len(site_queries.keys_of(db, site_id=site.id))


def fleet_sites(db: Session, *, firm_id: int) -> list[FleetSite]:
    """Give the firm's sites as the fleet page wants them."""
    refusals = ingest_queries.last_refusals(db, firm_id=firm_id)
    return [
        FleetSite(
            slug=entry.site.slug,
            name=entry.site.name,
            report=entry.report,
            last_data_s=entry.data_until_s,
            state=_state(entry),
            note=_note(entry, refusals.get(entry.site.id)),
        )
        for entry in assessment_queries.fleet(db, firm_id=firm_id)
    ]


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


def _line(upload: Upload, timezone: str) -> UploadLine:
    problems = upload.problems or []
    return UploadLine(
        id=upload.id,
        name=upload.name if upload.pushed_on is None else f"Rows of a gateway, {upload.pushed_on}",
        state=upload.state,
        when=moment(int(upload.received_at.timestamp()), timezone),
        says=_says(upload),
        problems=tuple(
            Fact(label=place_of(p["file"], p["line"], p["column"]), value=p["why"])
            for p in problems[:_PROBLEMS_SHOWN]
        ),
        understood=tuple(_understood(one, timezone) for one in upload.files or []),
    )


def _says(upload: Upload) -> str:
    if upload.state == "refused":
        return sentence(f"Refused: {(upload.message or '').removeprefix(f'{upload.name}: ')}")
    if upload.state == "kept":
        return "Safely kept; being read."
    counts = (
        f"Read: {plural(upload.rows_read, 'row')}, {number(upload.rows_kept)} new, "
        f"{number(upload.rows_duplicate)} doubled, {number(upload.rows_rejected)} rejected."
    )
    return f"{counts} {sentence(upload.message)}" if upload.message else counts


def _understood(file: Mapping[str, Any], timezone: str) -> str:
    columns = ", ".join(
        f"“{column['head']}” is {column['channel']} in {column['unit']}"
        for column in file.get("columns", ())
    )
    ignored = ", ".join(f"“{head}”" for head in file.get("ignored", ()))
    span = f"{moment(file['first_s'], timezone)} to {moment(file['last_s'], timezone)}"
    left = f" Not used: {ignored}." if ignored else ""
    return f"{file['name']}: {file['dialect']}, {span}. {columns}.{left}"
