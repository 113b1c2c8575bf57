"""What one reader gets by mail: by the office for anybody, by each person for themselves."""

import re
from collections.abc import Mapping
from typing import Annotated
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from fastapi import APIRouter, Form, Query, Response
from pydantic import BaseModel, Field
from sqlalchemy.orm import Session

from service.context import Context, Here, RowId
from service.db.models import Account, Recipient
from service.digests import queries
from service.digests.actions import send_now as lay_out_now
from service.digests.actions import usual_timezone
from service.errors import ConflictError
from service.mail import refusals
from service.mail.addresses import is_address
from service.mail.stopping import WORDS as STOPPED
from service.mail.stopping import Stop, stop, stop_of
from service.pages.account import own_account
from service.pages.answers import page, see_other
from service.sites import queries as site_queries

router = APIRouter(include_in_schema=False)

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_CLOCK = re.compile(r"^([01]\d|2[0-3]):[0-5]\d$")
_OWN_MESSAGES = {
    "changed": "Changed. It holds from the next mail on.",
    "now": "A digest as it reads now is on its way and goes out within two minutes.",
    "nothing": "There is no installation to tell of, so nothing was sent.",
}


class Wanted(BaseModel):
    """What somebody wants to get; boxes that are not ticked are not sent."""

    name: str = Field("", max_length=200)
    timezone: str = ""
    digest: bool = False
    urgent: bool = False
    digest_weekday: int = Field(0, ge=0, le=6)
    digest_hour: int = Field(6, ge=0, le=23)
    skip_unchanged: bool = False
    every_site: bool = True
    site: list[int] = Field(default_factory=list, max_length=5000)
    quiet_from: str = "21:00"
    quiet_until: str = "07:00"


def wrong_address(address: str) -> dict[str, str]:
    """Say what is wrong with an address, by field."""
    if is_address(address):
        return {}
    return {"address": "This is not a mail address; it looks like name@example.org."}


def wrong_times(values: Mapping[str, str]) -> dict[str, str]:
    """Say what is wrong with zone and quiet hours, by field."""
    errors = {}
    try:
        ZoneInfo(values["timezone"])
    except (ZoneInfoNotFoundError, ValueError, OSError):
        errors["timezone"] = "This zone is not known; write it like Europe/London."
    for clock in ("quiet_from", "quiet_until"):
        if not _CLOCK.match(values[clock]):
            errors[clock] = "Write the time like 21:00."
    return errors


def when_words(one: Recipient) -> str:
    """Say what somebody gets, and when."""
    digest = f"digest on {WEEKDAYS[one.digest_weekday]}s from {one.digest_hour:02d}:00"
    never = one.quiet_from == one.quiet_until
    quiet = "" if never else f", not from {one.quiet_from} to {one.quiet_until}"
    parts = [
        digest if one.digest else "no digest",
        f"urgent findings at once{quiet}" if one.urgent else "nothing urgent",
        *([] if one.every_site else ["chosen installations only"]),
        one.timezone,
    ]
    return " · ".join(parts)


@router.get("/settings/recipients/{recipient_id}")
def show(
    here: Here, recipient_id: RowId, message: Annotated[str | None, Query()] = None
) -> Response:
    """Show what somebody gets."""
    with here.database.reading() as db:
        reader = _reader(db, here, recipient_id)
        return _page(db, reader, own=False, message=_OWN_MESSAGES.get(message or ""))


def _reader(db: Session, here: Context, recipient_id: int) -> Recipient:
    caller = here.person(db, may="arrange")
    return queries.recipient_of(db, firm_id=caller.firm_id, recipient_id=recipient_id)


def _page(
    db: Session,
    reader: Recipient,
    *,
    own: bool,
    message: str | None = None,
    errors: Mapping[str, str] | None = None,
    wanted: Wanted | None = None,
) -> Response:
    known = reader in db
    chosen = queries.chosen_sites(db, recipient_id=reader.id) if known else frozenset[int]()
    shown = wanted or Wanted(
        name=reader.name,
        timezone=reader.timezone,
        digest=reader.digest,
        urgent=reader.urgent,
        digest_weekday=reader.digest_weekday,
        digest_hour=reader.digest_hour,
        skip_unchanged=reader.skip_unchanged,
        every_site=reader.every_site,
        site=sorted(chosen),
        quiet_from=reader.quiet_from,
        quiet_until=reader.quiet_until,
    )
    sites = site_queries.list_sites(db, firm_id=reader.firm_id)
    return page(
        "recipient.html",
        status=422 if errors else 200,
        own=own,
        address=reader.address,
        known=known,
        path="/account/mail" if own else f"/settings/recipients/{reader.id}",
        wanted=shown,
        sites=[{"id": one.id, "name": one.name} for one in sites],
        weekdays=WEEKDAYS,
        paused=reader.paused_at is not None,
        refused=reader.refused_why,
        refusals=reader.refusals or 0,
        errors=errors or {},
        message=message,
    )


@router.post("/settings/recipients/{recipient_id}")
def change(here: Here, recipient_id: RowId, wanted: Annotated[Wanted, Form()]) -> Response:
    """Change what somebody gets."""
    with here.database.session() as db:
        reader = _reader(db, here, recipient_id)
        errors = wrong_times(wanted.model_dump())
        if errors:
            return _page(db, reader, own=False, errors=errors, wanted=wanted)
        _take_over(db, reader, wanted)
    return see_other("/settings?message=changed")


def _take_over(db: Session, reader: Recipient, wanted: Wanted) -> None:
    for name, value in wanted.model_dump(exclude={"site"}).items():
        setattr(reader, name, value)
    db.flush()
    here = {one.id for one in site_queries.list_sites(db, firm_id=reader.firm_id)}
    chosen = () if wanted.every_site else here & set(wanted.site)
    queries.choose_sites(db, recipient_id=reader.id, site_ids=chosen)


@router.post("/settings/recipients/{recipient_id}/resume")
def resume(here: Here, recipient_id: RowId) -> Response:
    """Send to an address again that was refused."""
    with here.database.session() as db:
        refusals.resume(_reader(db, here, recipient_id))
    return see_other("/settings?message=resumed")


@router.post("/settings/recipients/{recipient_id}/now")
def send_now(here: Here, recipient_id: RowId) -> Response:
    """Send somebody their digest as it reads now."""
    with here.database.session() as db:
        reader = _reader(db, here, recipient_id)
        laid = lay_out_now(db, reader=reader, settings=here.settings, now=here.now())
    return see_other(f"/settings?message={'now' if laid else 'nothing'}")


@router.get("/account/mail")
def show_own(here: Here, message: Annotated[str | None, Query()] = None) -> Response:
    """Show what one gets oneself."""
    with here.database.reading() as db:
        account = own_account(db, here)
        if not is_address(account.login):
            return page("recipient_none.html", login=account.login)
        reader = _own(db, here, account)
        return _page(db, reader, own=True, message=_OWN_MESSAGES.get(message or ""))


def _own(db: Session, here: Context, account: Account) -> Recipient:
    """Give who gets mail at the address that one signs in with; not stored yet where nobody did."""
    if not is_address(account.login):
        raise ConflictError(
            "You sign in with a name that is no mail address; ask the office to enter yours."
        )
    found = queries.recipient_at(db, firm_id=account.firm_id, address=account.login)
    return found or Recipient(
        firm_id=account.firm_id,
        address=account.login,
        name=account.name,
        timezone=usual_timezone(db, firm_id=account.firm_id),
        digest=False,
        urgent=False,
        digest_weekday=0,
        digest_hour=6,
        skip_unchanged=False,
        every_site=True,
        quiet_from="21:00",
        quiet_until="07:00",
        created_at=here.now(),
    )


@router.post("/account/mail")
def change_own(here: Here, wanted: Annotated[Wanted, Form()]) -> Response:
    """Change what one gets oneself."""
    with here.database.session() as db:
        reader = _own(db, here, own_account(db, here))
        errors = wrong_times(wanted.model_dump())
        if errors:
            return _page(db, reader, own=True, errors=errors, wanted=wanted)
        db.add(reader)
        _take_over(db, reader, wanted)
    return see_other("/account/mail?message=changed")


@router.post("/account/mail/now")
def send_own_now(here: Here) -> Response:
    """Send oneself one's digest as it reads now."""
    with here.database.session() as db:
        account = own_account(db, here)
        reader = queries.recipient_at(db, firm_id=account.firm_id, address=account.login)
        laid = reader is not None and lay_out_now(
            db, reader=reader, settings=here.settings, now=here.now()
        )
    return see_other(f"/account/mail?message={'now' if laid else 'nothing'}")


@router.get("/mail/stop/{token}")
def ask_stop(here: Here, token: str) -> Response:
    """Show a button; looking at the link stops nothing, because mail scanners look, too."""
    with here.database.reading() as db:
        return _stop_page(stop_of(db, token), token=token, done=False)


@router.post("/mail/stop/{token}")
def do_stop(here: Here, token: str, everything: Annotated[bool, Form()] = False) -> Response:
    """Stop mail by its own link: the button's way, and that of mail programs (RFC 8058)."""
    with here.database.session() as db:
        found = stop_of(db, token)
        stop(db, found, everything=everything, now=here.now())
        return _stop_page(found, token=token, done=True)


def _stop_page(found: Stop, *, token: str, done: bool) -> Response:
    return page(
        "mail_stop.html",
        address=found.reader.address,
        what=STOPPED[found.kind],
        still=found.reader.digest or found.reader.urgent,
        token=token,
        done=done,
    )
