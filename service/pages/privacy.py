"""The customer's own affairs: consents, everything that is held of them, erasure, kept papers."""

from datetime import date
from typing import Annotated, Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Form, Query, Response

from dashboards.format import day, moment, plural
from dashboards.links import site_path
from service.context import Context, Here, RowId
from service.errors import ConflictError, InvalidError
from service.evidence import queries as evidence_queries
from service.ingest.actions import drop_bytes
from service.pages import loading
from service.pages.answers import page, see_other
from service.privacy import consents, erasure, queries
from service.privacy.purposes import PURPOSES, STOPS

router = APIRouter(include_in_schema=False)

_MESSAGES = {
    "recorded": "Recorded.",
    "withdrawn": "Withdrawn. What rested on it has stopped.",
}


@router.get("/sites/{slug}/privacy")
def privacy(here: Here, slug: str, message: Annotated[str | None, Query()] = None) -> Response:
    """Show consents, what is held, and how it is erased."""
    return _page(here, slug, message=_MESSAGES.get(message or ""))


def _page(
    here: Context,
    slug: str,
    *,
    message: str | None = None,
    problem: str | None = None,
    erase_problem: str | None = None,
    values: dict[str, str] | None = None,
) -> Response:
    with here.database.reading() as db:
        loaded = loading.load(db, here, slug, may="arrange")
        may_erase = here.person(db, may="arrange").may("govern")
        zone = loaded.row.timezone
        found = evidence_queries.consents_of(db, site_id=loaded.row.id)
        held = _held(loaded, len(evidence_queries.uploads_with_bytes(db, site_id=loaded.row.id)))
    return page(
        "privacy.html",
        status=422 if problem or erase_problem else 200,
        site=loaded.head,
        consents=[
            {
                "id": one.id,
                "purpose": PURPOSES[one.purpose],
                "stops": STOPS[one.purpose],
                "given": f"{one.given_by}, {day(one.given_on)}",
                "how": one.how,
                "recorded": f"{one.recorded_by}, {_when(one.recorded_at.timestamp(), zone)}",
                "withdrawn": None
                if one.withdrawn_at is None
                else f"{one.withdrawn_by}, {_when(one.withdrawn_at.timestamp(), zone)}",
            }
            for one in reversed(found)
        ],
        purposes=list(PURPOSES.items()),
        open=[words for purpose, words in PURPOSES.items() if not _stands(found, purpose)],
        held=held,
        may_erase=may_erase,
        values=values or {},
        today=here.now().astimezone(ZoneInfo(zone)).date().isoformat(),
        undo_days=f"{here.settings.undo_days:g}",
        message=message,
        problem=problem,
        erase_problem=erase_problem,
    )


def _stands(found: list[Any], purpose: str) -> bool:
    return any(one.purpose == purpose and one.withdrawn_at is None for one in found)


def _held(loaded: loading.Loaded, logs: int) -> str:
    days = len(loaded.report.days) if loaded.report is not None else 0
    return f"{plural(logs, 'log')} and {plural(days, 'day')} of figures."


def _when(time_s: float, zone: str) -> str:
    return moment(int(time_s), zone)


@router.post("/sites/{slug}/privacy/consents")
def record(
    here: Here,
    slug: str,
    purpose: Annotated[str, Form()] = "",
    given_by: Annotated[str, Form()] = "",
    given_on: Annotated[str, Form()] = "",
    how: Annotated[str, Form()] = "",
) -> Response:
    """Record a consent."""
    try:
        with here.database.session() as db:
            caller = here.person(db, may="arrange")
            site = here.site_of(db, caller, slug)
            consents.record_consent(
                db,
                site=site,
                purpose=purpose,
                given_by=given_by,
                given_on=_day(given_on, "given_on"),
                how=how,
                who=caller.who,
                now=here.now(),
            )
    except InvalidError as error:
        values = {"purpose": purpose, "given_by": given_by, "given_on": given_on, "how": how}
        return _page(here, slug, problem=error.detail, values=values)
    return see_other(f"{site_path(slug)}/privacy?message=recorded")


@router.post("/sites/{slug}/privacy/consents/{consent_id}/withdraw")
def withdraw(here: Here, slug: str, consent_id: RowId) -> Response:
    """Withdraw a consent."""
    with here.database.session() as db:
        caller = here.person(db, may="arrange")
        site = here.site_of(db, caller, slug)
        consents.withdraw_consent(
            db, site=site, consent_id=consent_id, who=caller.who, now=here.now()
        )
    return see_other(f"{site_path(slug)}/privacy?message=withdrawn")


@router.post("/sites/{slug}/privacy/erase")
def erase(
    here: Here,
    slug: str,
    confirm: Annotated[str, Form()] = "",
    keep: Annotated[str, Form()] = "",
    why: Annotated[str, Form()] = "",
    until: Annotated[str, Form()] = "",
) -> Response:
    """Erase the site and everything that is held of it."""
    try:
        with here.database.session() as db:
            caller = here.person(db, may="govern")
            site = here.site_of(db, caller, slug)
            name = site.name
            contact = evidence_queries.contact_of(db, site_id=site.id)
            address = contact.address if contact is not None else None
            kept = erasure.Keep(why=why, until=_day(until, "until")) if keep else None
            done = erasure.erase(
                db, site=site, confirm=confirm, keep=kept, who=caller.who, now=here.now()
            )
    except (ConflictError, InvalidError) as error:
        values = {"keep": keep, "why": why, "until": until}
        return _page(here, slug, erase_problem=error.detail, values=values)
    drop_bytes(here.database, raw=here.raw, hashes=done.hashes)
    files = erasure.drop_mail_files(here.settings.outbox, name=name, slug=slug, address=address)
    here.database.empty_log()
    return page("erased.html", done=done, mail_files=files)


def _day(text: str, field: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InvalidError("A day is needed, such as 2025-06-01.", field=field) from None


@router.get("/papers")
def papers(here: Here) -> Response:
    """Show the papers that are kept of erased installations."""
    with here.database.reading() as db:
        caller = here.person(db, may="arrange")
        found = [
            {
                "id": one.id,
                "reference": one.reference,
                "why": one.why,
                "kept": f"{one.kept_by}, {day(one.kept_at.date())}",
                "until": day(one.keep_until),
                "papers": one.papers,
            }
            for one in queries.papers_of_firm(db, firm_id=caller.firm_id)
        ]
        may_erase = caller.may("govern")
    return page("papers.html", papers=found, may_erase=may_erase)


@router.post("/papers/{papers_id}/erase")
def erase_papers(here: Here, papers_id: RowId) -> Response:
    """Erase kept papers before their time."""
    with here.database.session() as db:
        caller = here.person(db, may="govern")
        erasure.drop_papers(db, firm_id=caller.firm_id, papers_id=papers_id)
    return see_other("/papers")
