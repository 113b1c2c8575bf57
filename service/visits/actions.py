"""Use cases of a visit: planning it, taking in what was typed, finishing it.

What is typed is never overwritten: each save adds entries, and of each field the entry typed last
counts. A save is known by its sender's key and counts once. Finishing is apart from saving, so
that what cannot be used yet keeps nobody from saving the rest.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlalchemy.orm import Session

from analysis.errors import SiteFileError
from analysis.results import Finding, Report
from analysis.sitefile import parse_site
from dashboards.format import local_date, sentence
from dashboards.links import finding_key, finding_of_key
from dashboards.texts import Texts, title_of
from dashboards.visits.fields import OUTCOMES, problem_of
from service.accounts import queries as account_queries
from service.care import actions as care
from service.db.models import Site, Visit, VisitEntry, VisitPhoto, VisitSave
from service.errors import ConflictError, InvalidError, NotFoundError, ServiceError
from service.ingest.files import Kept
from service.sites.actions import replace_site_file
from service.visits import queries
from service.visits.facts import NewFacts, new_facts
from service.visits.photos import CleanPhoto
from service.visits.schemas import PlannedFinding, SaveGiven

_NOTE_LONGEST = 2000
_MOST_PHOTOS = 60
_AHEAD_DAYS = 730


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """When a visit is to be, whose it is and what for."""

    on: date
    technician_id: int | None
    note: str


def visit_for(
    db: Session, *, firm_id: int, visit_id: int, locked: bool = False
) -> tuple[Visit, Site]:
    """Give a visit that a firm may see.

    Raises
    ------
    NotFoundError : there is none of this number for the firm
    """
    found = queries.visit_of(db, firm_id=firm_id, visit_id=visit_id, locked=locked)
    if found is None:
        raise NotFoundError("There is no such visit.")
    return found


def plan_visit(
    db: Session,
    *,
    site: Site,
    plan: Plan,
    findings: Sequence[Finding],
    texts: Texts,
    who: str,
    now: datetime,
) -> Visit:
    """Plan a visit and take its findings up as planned for.

    Raises
    ------
    InvalidError : the day is past or too far, or the technician is not of the firm
    """
    checked_plan(db, site=site, plan=plan, now=now)
    visit = Visit(
        site_id=site.id,
        planned_on=plan.on,
        technician_id=plan.technician_id,
        note=plan.note.strip()[:_NOTE_LONGEST],
        state="planned",
        findings=[_planned(one, texts).model_dump() for one in findings],
        facts_kept=[],
        made_by=who,
        made_at=now,
    )
    db.add(visit)
    db.flush()
    for one in findings:
        _step(db, site, finding_key(one), "visit_planned", who=who, now=now)
    return visit


def checked_plan(db: Session, *, site: Site, plan: Plan, now: datetime) -> None:
    """Refuse a plan that cannot be meant."""
    today = local_date(now.timestamp(), site.timezone)
    if not today <= plan.on <= today + timedelta(days=_AHEAD_DAYS):
        raise InvalidError("Choose a day from today on, within two years.", field="on")
    if plan.technician_id is not None and (
        account_queries.account_of(db, firm_id=site.firm_id, account_id=plan.technician_id) is None
    ):
        raise InvalidError("Choose somebody of the firm.", field="technician")


def _planned(finding: Finding, texts: Texts) -> PlannedFinding:
    return PlannedFinding(
        key=finding_key(finding),
        kind=finding.kind,
        channel=finding.channel,
        urgency=finding.urgency,
        title=title_of(finding.kind, texts),
        summary=sentence(finding.summary),
        checks=[sentence(one) for one in finding.check_next],
        cautions=list(finding.cautions),
    )


def change_plan(db: Session, *, visit: Visit, site: Site, plan: Plan, now: datetime) -> None:
    """Move a planned visit to another day or person."""
    _still(visit, "planned")
    checked_plan(db, site=site, plan=plan, now=now)
    visit.planned_on, visit.technician_id = plan.on, plan.technician_id
    visit.note = plan.note.strip()[:_NOTE_LONGEST]


def drop_visit(db: Session, *, visit: Visit, site: Site, who: str, now: datetime) -> None:
    """Strike a planned visit; its findings are taken up but not planned for any more."""
    if visit.state == "dropped":
        return
    _still(visit, "planned")
    visit.state = "dropped"
    for one in findings_of(visit):
        _step(db, site, one.key, "accepted", who=who, now=now)


def _still(visit: Visit, state: str) -> None:
    if visit.state != state:
        raise ConflictError(f"This visit is {visit.state}; reload the page.")


def findings_of(visit: Visit) -> list[PlannedFinding]:
    """Give what a visit is to look at."""
    return [PlannedFinding.model_validate(one) for one in visit.findings]


def now_found(planned: PlannedFinding, report: Report | None) -> Finding | None:
    """Give a planned finding as the newest analysis sees it, None where it does not any more."""
    return finding_of_key(report, planned.key) if report is not None else None


def _step(
    db: Session,
    site: Site,
    key: str,
    to: str,
    *,
    who: str,
    now: datetime,
    note: str = "",
    done_at: datetime | None = None,
) -> None:
    """Take a step about a finding, where its life has room for it."""
    try:
        care.step(
            db,
            site=site,
            key=key,
            to=to,
            who=who,
            now=now,
            urgency="watch",
            note=note,
            done_at=done_at,
        )
    except (NotFoundError, ConflictError):
        # It is gone, or somebody was faster; the visit's own record says what was done.
        return


def take_save(
    db: Session, *, visit: Visit, site: Site, given: SaveGiven, who: str, now: datetime
) -> str | None:
    """Take in what was typed, once, and finish the visit where that was asked.

    Returns
    -------
    Why the visit could not be finished, None where nothing was wrong.

    Raises
    ------
    ConflictError : the key belongs to another visit's save
    """
    known = queries.save_of_key(db, given.key)
    if known is not None and known.visit_id != visit.id:
        raise ConflictError("This save came with the key of another one; make a new key.")
    if known is None:
        _enter(db, visit, given, who=who, now=now)
    if given.finished_at is None or visit.state == "finished":
        return None
    finished_at = _real_time(given, given.finished_at, visit=visit, now=now)
    try:
        _finish(db, visit=visit, site=site, who=who, now=now, finished_at=finished_at)
    except ServiceError as error:
        return error.detail
    return None


def _enter(db: Session, visit: Visit, given: SaveGiven, *, who: str, now: datetime) -> None:
    save = VisitSave(visit_id=visit.id, key=given.key, who=who, received_at=now)
    db.add(save)
    db.flush()
    held = values_of(queries.entries_of(db, visit_id=visit.id))
    for one in given.fields:
        typed_at = _real_time(given, one.typed_at, visit=visit, now=now)
        counts = held.get(one.field)
        if counts is not None and counts.value == one.value:
            continue
        if counts is None and not one.value:
            continue
        db.add(
            VisitEntry(
                visit_id=visit.id,
                save_id=save.id,
                field=one.field,
                value=one.value,
                who=who,
                typed_at=typed_at,
            )
        )
    db.flush()


def _real_time(given: SaveGiven, told: datetime, *, visit: Visit, now: datetime) -> datetime:
    """Turn a time of the sender's clock into ours: so long before the sending, so long ago."""
    age = max(given.sent_at - told, timedelta(0))
    return max(now - age, visit.made_at)


def values_of(entries: Sequence[VisitEntry]) -> dict[str, VisitEntry]:
    """Give the entry that counts in each field."""
    return {one.field: one for one in entries}


def problems_of(values: Mapping[str, VisitEntry], site: Site) -> dict[str, str]:
    """Say of each field that cannot be used why."""
    arrays = parse_site(site.text).arrays
    said = {name: problem_of(name, one.value, arrays) for name, one in values.items()}
    return {name: problem for name, problem in said.items() if problem is not None}


def _finish(
    db: Session, *, visit: Visit, site: Site, who: str, now: datetime, finished_at: datetime
) -> None:
    """Put a visit on record: its findings' lives, and what was measured in the site's file."""
    _still(visit, "planned")
    values = values_of(queries.entries_of(db, visit_id=visit.id))
    typed = {name: one.value for name, one in values.items()}
    problems = problems_of(values, site)
    if problems:
        raise InvalidError(" ".join(problems.values()))
    planned = findings_of(visit)
    for place, one in enumerate(planned):
        if typed.get(f"finding.{place}.outcome") not in dict(OUTCOMES):
            raise InvalidError(f"Say of “{one.title}” whether it was put right.")
    day = local_date(finished_at.timestamp(), site.timezone)
    facts = _facts(visit, site, values, day=day, who=typed.get("name", "").strip() or who)
    if facts.text != site.text:
        replace_site_file(db, site=site, text=facts.text, who=who, now=now)
    for place, one in enumerate(planned):
        right = typed[f"finding.{place}.outcome"] == "put_right"
        _step(
            db,
            site,
            one.key,
            "put_right" if right else "accepted",
            who=who,
            now=now,
            note=typed.get(f"finding.{place}.note", ""),
            done_at=finished_at if right else None,
        )
    visit.state, visit.finished_at, visit.finished_by = "finished", finished_at, who
    visit.facts_kept = list(facts.words)


def _facts(
    visit: Visit, site: Site, values: Mapping[str, VisitEntry], *, day: date, who: str
) -> NewFacts:
    read = values.get("register_kwh")
    try:
        return new_facts(
            site.text,
            {name: one.value for name, one in values.items()},
            day=day,
            read_at=(read.typed_at if read else visit.made_at).replace(second=0, microsecond=0),
            who=who,
            why=f"visit {visit.id}",
        )
    except SiteFileError as error:
        raise InvalidError(
            f"What was measured does not fit the site's facts: {sentence(error.what)}"
        ) from None


def keep_photo(
    db: Session,
    *,
    visit: Visit,
    key: str,
    photo: CleanPhoto,
    kept: Kept,
    who: str,
    now: datetime,
) -> VisitPhoto:
    """Take note of a photo whose bytes are kept; the same key again gives the first answer."""
    found = queries.photo_of_key(db, key)
    if found is not None:
        if found.visit_id != visit.id:
            raise ConflictError("This photo came with the key of another one; make a new key.")
        return found
    if len(queries.photos_of(db, visit_id=visit.id)) >= _MOST_PHOTOS:
        raise ConflictError(f"A visit holds at most {_MOST_PHOTOS} photos; remove one first.")
    made = VisitPhoto(
        visit_id=visit.id,
        key=key,
        sha256=kept.sha256,
        media_type=photo.media_type,
        size_bytes=kept.size_bytes,
        width_px=photo.width_px,
        height_px=photo.height_px,
        who=who,
        taken_in_at=now,
    )
    db.add(made)
    db.flush()
    return made


def photo_for(db: Session, *, visit: Visit, photo_id: int) -> VisitPhoto:
    """Give a photo of a visit.

    Raises
    ------
    NotFoundError : the visit has none of this number
    """
    found = db.get(VisitPhoto, photo_id)
    if found is None or found.visit_id != visit.id:
        raise NotFoundError("There is no such photo.")
    return found


def set_base(db: Session, *, firm_id: int, latitude: str, longitude: str) -> None:
    """Set where a firm's people set out from; two empty fields forget it.

    Raises
    ------
    InvalidError : no place on earth
    """
    firm = queries.firm_of(db, firm_id)
    if not latitude.strip() and not longitude.strip():
        firm.base_latitude_deg = firm.base_longitude_deg = None
        return
    place = place_of(latitude, longitude)
    if place is None:
        raise InvalidError(
            "Write latitude and longitude in degrees, such as 52.40 and −1.50.",
            field="latitude",
        )
    firm.base_latitude_deg, firm.base_longitude_deg = place


def place_of(latitude: str, longitude: str) -> tuple[float, float] | None:
    """Read a place that somebody typed; None where it is none."""
    try:
        found = tuple(
            float(text.strip().replace("−", "-").replace(",", "."))
            for text in (latitude, longitude)
        )
    except ValueError:
        return None
    good = abs(found[0]) <= 90 and abs(found[1]) <= 180
    return (found[0], found[1]) if good else None
