"""One visit: worked through on a phone, saved with or without a script, put on record."""

import json
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Annotated, cast

from fastapi import APIRouter, Form, Query, Request, Response
from sqlalchemy.orm import Session
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile

import dashboards
from analysis.record import Record
from analysis.results import Finding
from analysis.sitefile import site_on
from dashboards.figures.day_curves import day_curves
from dashboards.figures.decisive import decisive_hours
from dashboards.figures.evidence import evidence
from dashboards.format import OVER, URGENCY_WORDS, day, local_date, moment
from dashboards.links import finding_path
from dashboards.render import asset
from dashboards.visits.fields import (
    CHECK_RESULTS,
    OUTCOMES,
    WHO,
    Field,
    all_fields,
    groups,
    is_name,
)
from dashboards.visits.page import (
    FindingPart,
    HistoryLine,
    check_lines,
    label_of,
    verdict,
    words_of,
)
from service.accounts.access import Caller
from service.care import queries as care_queries
from service.context import Context, Here, RowId
from service.db.models import Site, Visit, VisitEntry
from service.errors import ConflictError, InvalidError, ServiceError
from service.ingest import actions as ingest_actions
from service.pages import loading, uploads
from service.pages.answers import page, see_other
from service.pages.visits import name_of, people_of, plan_of
from service.visits import actions, queries
from service.visits.endpoints import keep_photo
from service.visits.facts import held_value
from service.visits.routine import CHECKS, cautions
from service.visits.schemas import PlannedFinding, SaveGiven, TypedField

router = APIRouter(include_in_schema=False)

_LATEST_UPLOADS = 3
_MOST_FILES = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class _Open:
    """A visit with all that its page shows."""

    caller: Caller
    visit: Visit
    site: Site
    loaded: loading.Loaded
    entries: list[VisitEntry]

    @property
    def values(self) -> dict[str, VisitEntry]:
        """The entry that counts in each field."""
        return actions.values_of(self.entries)


def _open(db: Session, here: Context, visit_id: int) -> _Open:
    caller = here.person(db, may="see")
    visit, site = actions.visit_for(db, firm_id=caller.firm_id, visit_id=visit_id)
    return _Open(
        caller=caller,
        visit=visit,
        site=site,
        loaded=loading.load(db, here, site.slug),
        entries=queries.entries_of(db, visit_id=visit.id),
    )


@router.get("/visits/{visit_id}")
def show(here: Here, visit_id: RowId, message: Annotated[str | None, Query()] = None) -> Response:
    """Show a visit."""
    return _page(here, visit_id, message=_MESSAGES.get(message or ""))


_MESSAGES = {
    "planned": "The visit is planned.",
    "changed": "The plan is changed.",
    "saved": "It is kept.",
    "finished": "The visit is on record.",
    "removed": "The photo is removed.",
}


def _page(
    here: Context, visit_id: int, *, message: str | None = None, problem: str | None = None
) -> Response:
    with here.database.reading() as db:
        one = _open(db, here, visit_id)
        loaded, report, zone = one.loaded, one.loaded.report, one.site.timezone
        people = people_of(db, one.caller)
        parts: list[FindingPart] = []
        records: dict[str, Finding | None] = {}
        planned = actions.findings_of(one.visit)
        for place, item in enumerate(planned):
            records[item.key] = actions.now_found(item, report)
            parts.append(_part(db, loaded, place, item, records[item.key]))
        cases = care_queries.cases_by_key(db, site_id=one.site.id)
        last = date.fromisoformat(report.days[-1].date) if report and report.days else None
        record = loading.record_of_day(db, one.site, last) if last else None
        while last and record is None and report and last.isoformat() > report.days[0].date:
            last -= timedelta(days=1)
            record = loading.record_of_day(db, one.site, last)
        photos = queries.photos_of(db, visit_id=visit_id)
        files = uploads.uploads_of(db, one.site, limit=_LATEST_UPLOADS)
        usual = {
            field.name: queries.last_typed_by(
                db, firm_id=one.caller.firm_id, who=one.caller.who, field=field.name
            )
            for field in WHO
        }
    names = {person.id: name_of(person) for person in people}
    oneself = next((person for person in people if person.id == one.caller.account_id), None)
    usual["name"] = usual["name"] or (oneself.name if oneself else "")
    values = {name: entry.value for name, entry in one.values.items()}
    local_day = local_date(here.now().timestamp(), zone)
    facts = site_on(loaded.facts, local_day)
    return page(
        "visit.html",
        status=422 if problem else 200,
        site=loaded.head,
        geo=f"{loaded.facts.place.latitude_deg:.5f},{loaded.facts.place.longitude_deg:.5f}",
        visit=one.visit,
        who=one.caller.who,
        when=day(one.visit.planned_on, weekday=True),
        finished=moment(int(one.visit.finished_at.timestamp()), zone)
        if one.visit.finished_at
        else None,
        technician=names.get(one.visit.technician_id or 0, "nobody yet"),
        cautions=cautions(text for item in planned for text in item.cautions),
        parts=parts or [_routine()],
        outcomes=OUTCOMES,
        results=CHECK_RESULTS,
        groups=groups(loaded.facts.arrays),
        on_record={
            field.name: _on_record(held_value(facts, field.key), field.unit)
            for field in all_fields(loaded.facts.arrays)
            if field.key
        },
        who_fields=WHO,
        values=values,
        usual=usual,
        problems=actions.problems_of(one.values, one.site),
        latest_entry=max((entry.id for entry in one.entries), default=0),
        key=str(uuid.uuid4()),
        photos=photos,
        last_day={"words": day(last, weekday=True), "figure": _curves(record, zone)}
        if last and record is not None
        else None,
        uploads=files,
        verdicts=[
            verdict(
                item.title,
                records[item.key],
                report,
                kind=item.kind,
                state=_state(cases, item.key),
            )
            for item in planned
        ],
        history=_history(one, zone),
        people=list(names.items()),
        today=local_day.isoformat(),
        may_care=one.caller.may("care"),
        message=message,
        problem=problem,
    )


def _curves(record: Record, zone: str) -> str:
    return day_curves(record, timezone=zone).to_json()


def _state(cases: Mapping[str, object], key: str) -> str:
    case = cases.get(key)
    return str(getattr(case, "state", "new"))


def _on_record(value: object, unit: str) -> str:
    return "nothing on record" if value is None else f"on record: {cast(float, value):g} {unit}"


def _part(
    db: Session,
    loaded: loading.Loaded,
    place: int,
    planned: PlannedFinding,
    found: Finding | None,
) -> FindingPart:
    report, figure, hours = loaded.report, None, ""
    if found is not None and report is not None:
        start_s, end_s = decisive_hours(
            found, report.days, timezone=report.timezone, end_s=report.end_s
        )
        record = loading.record_of(db, loaded.row, start_s, end_s)
        if record is not None:
            drawn = evidence(found, record, site=loaded.facts, hours=(start_s, end_s))
            figure = drawn.to_json()
            zone = report.timezone
            hours = f"{moment(start_s, zone)} to {moment(end_s, zone)}"
    lasts = found is not None and found.end_s is None
    return FindingPart(
        place=place,
        title=planned.title,
        mark=planned.urgency if lasts else "calm",
        urgency=URGENCY_WORDS[planned.urgency] if lasts else OVER,
        summary=planned.summary,
        href=finding_path(loaded.head.slug, found) if found else None,
        checks=check_lines(place, planned.checks),
        figure=figure,
        hours=hours,
    )


def _routine() -> FindingPart:
    return FindingPart(
        place=None,
        title="Routine visit",
        mark="none",
        urgency="Nothing is known to be wrong",
        summary="No finding was chosen for this visit. These checks go from the armchair to the "
        "roof.",
        href=None,
        checks=check_lines("routine", CHECKS),
        figure=None,
        hours="",
    )


def _history(one: _Open, zone: str) -> list[HistoryLine]:
    fields: tuple[Field, ...] = (*all_fields(one.loaded.facts.arrays), *WHO)
    titles = [item.title for item in actions.findings_of(one.visit)]
    counting = {entry.id for entry in one.values.values()}
    return [
        HistoryLine(
            label=label_of(entry.field, fields, titles),
            value=words_of(entry.field, entry.value) or "emptied",
            who=entry.who,
            at=moment(int(entry.typed_at.timestamp()), zone),
            counts=entry.id in counting,
        )
        for entry in reversed(one.entries)
    ]


@router.post("/visits/{visit_id}/save")
async def save(here: Here, request: Request, visit_id: RowId) -> Response:
    """Take the whole form in where no script runs."""
    await run_in_threadpool(_allowed, here, visit_id)
    async with request.form(max_files=_MOST_FILES) as form:
        values = {name: value for name, value in form.items() if isinstance(value, str)}
        photos = [
            await part.read()
            for name, part in form.multi_items()
            if name == "photo" and isinstance(part, UploadFile) and part.filename
        ]
    return await run_in_threadpool(_save, here, visit_id, values, photos)


def _allowed(here: Context, visit_id: int) -> None:
    with here.database.reading() as db:
        caller = here.person(db, may="care")
        actions.visit_for(db, firm_id=caller.firm_id, visit_id=visit_id)


def _save(here: Context, visit_id: int, values: Mapping[str, str], photos: list[bytes]) -> Response:
    finish = values.get("do") == "finish"
    now = here.now()
    try:
        for data in photos:
            keep_photo(here, visit_id, str(uuid.uuid4()), data)
        with here.database.session() as db:
            caller = here.person(db, may="care")
            visit, site = actions.visit_for(
                db, firm_id=caller.firm_id, visit_id=visit_id, locked=True
            )
            given = SaveGiven(
                key=values.get("key") or str(uuid.uuid4()),
                sent_at=now,
                fields=[
                    TypedField(field=name, value=value[:8000], typed_at=now)
                    for name, value in _typed(db, visit, values).items()
                ],
                finished_at=now if finish else None,
            )
            problem = actions.take_save(
                db, visit=visit, site=site, given=given, who=caller.who, now=now
            )
    except ServiceError as error:
        if error.status not in (409, 413, 422):
            raise
        return _page(here, visit_id, problem=error.detail)
    except ValueError:  # the key is no UUID
        return _page(here, visit_id, problem="Reload the page and save again.")
    if problem:
        return _page(here, visit_id, problem=f"Kept, but not finished. {problem}")
    return see_other(f"/visits/{visit_id}?message={'finished' if finish else 'saved'}")


_NOT_FIELDS = {"do", "key", "seen", "photo"}


def _typed(db: Session, visit: Visit, values: Mapping[str, str]) -> dict[str, str]:
    """Give the fields of a whole form that were changed in it, not the others that it holds."""
    seen = values.get("seen", "0")
    latest = int(seen) if seen.isdecimal() and len(seen) < 12 else 0
    entries = [one for one in queries.entries_of(db, visit_id=visit.id) if one.id <= latest]
    shown = {name: one.value for name, one in actions.values_of(entries).items()}
    return {
        name: value.replace("\r\n", "\n")
        for name, value in values.items()
        if name not in _NOT_FIELDS
        and is_name(name)
        and value.replace("\r\n", "\n") != shown.get(name, "")
    }


@router.post("/visits/{visit_id}/plan")
def change_plan(
    here: Here,
    visit_id: RowId,
    on: Annotated[str, Form(max_length=20)] = "",
    technician: Annotated[str, Form(max_length=20)] = "",
    note: Annotated[str, Form(max_length=2000)] = "",
) -> Response:
    """Move a visit to another day or person."""
    try:
        with here.database.session() as db:
            caller = here.person(db, may="care")
            visit, site = actions.visit_for(
                db, firm_id=caller.firm_id, visit_id=visit_id, locked=True
            )
            plan = plan_of(on, technician, note)
            actions.change_plan(db, visit=visit, site=site, plan=plan, now=here.now())
    except (InvalidError, ConflictError) as error:
        return _page(here, visit_id, problem=error.detail)
    return see_other(f"/visits/{visit_id}?message=changed")


@router.post("/visits/{visit_id}/drop")
def drop(here: Here, visit_id: RowId) -> Response:
    """Strike a planned visit off."""
    try:
        with here.database.session() as db:
            caller = here.person(db, may="care")
            visit, site = actions.visit_for(
                db, firm_id=caller.firm_id, visit_id=visit_id, locked=True
            )
            actions.drop_visit(db, visit=visit, site=site, who=caller.who, now=here.now())
    except ConflictError as error:
        return _page(here, visit_id, problem=error.detail)
    return see_other("/visits?message=dropped")


@router.get("/visits/{visit_id}/photos/{photo_id}")
def photo(here: Here, visit_id: RowId, photo_id: RowId) -> Response:
    """Give a photo to the firm."""
    with here.database.reading() as db:
        caller = here.person(db, may="see")
        visit, _ = actions.visit_for(db, firm_id=caller.firm_id, visit_id=visit_id)
        found = actions.photo_for(db, visit=visit, photo_id=photo_id)
    return Response(
        here.raw.read(found.sha256),
        media_type=found.media_type,
        headers={"Cache-Control": "private, no-store"},
    )


@router.post("/visits/{visit_id}/photos/{photo_id}/remove")
def remove_photo(here: Here, visit_id: RowId, photo_id: RowId) -> Response:
    """Remove a photo and its bytes."""
    with here.database.session() as db:
        caller = here.person(db, may="care")
        visit, _ = actions.visit_for(db, firm_id=caller.firm_id, visit_id=visit_id, locked=True)
        found = actions.photo_for(db, visit=visit, photo_id=photo_id)
        sha256 = found.sha256
        db.delete(found)
    ingest_actions.drop_bytes(here.database, raw=here.raw, hashes=[sha256])
    return see_other(f"/visits/{visit_id}?message=removed#photos")


@router.get("/visits-worker.js")
def worker_script() -> Response:
    """Give the script that keeps opened visits on the phone; it stands where it may do so."""
    text = (Path(dashboards.__file__).parent / "static" / "visits-worker.js").read_text("utf-8")
    parts = [asset(name) for name in ("suntally.css", "suntally.js", "visit.js")]
    head = f"const PARTS = {json.dumps(parts)};\n"
    return Response(
        head + text, media_type="text/javascript", headers={"Cache-Control": "no-cache"}
    )
