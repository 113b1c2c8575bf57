"""Pages about people: signing in, passwords by link, who gets mail."""

from collections.abc import Mapping
from typing import Annotated

from fastapi import APIRouter, Form, Query, Response
from sqlalchemy.exc import IntegrityError

from dashboards.format import local_date
from dashboards.weeks import week_of
from service.accounts.actions import login_of_link, make_setup_link
from service.accounts.passwords import SHORTEST
from service.context import Context, Here, RowId
from service.db.models import Recipient
from service.digests import queries
from service.mail import outbox
from service.pages.answers import page, see_other
from service.pages.recipients import when_words, wrong_address, wrong_times
from service.sites import queries as site_queries

router = APIRouter(include_in_schema=False)

_MESSAGES = {
    "added": "Added. The next digest goes there too.",
    "changed": "Changed. It holds from the next mail on.",
    "resumed": "Mail goes there again.",
    "now": "A digest as it reads now is on its way and goes out within two minutes.",
    "nothing": "There is no installation to tell of, so nothing was sent.",
    "removed": "Removed; no more mail goes there.",
    "tested": "A test mail is on its way and goes out within two minutes.",
}


@router.get("/sign-in")
def sign_in(
    next: Annotated[str, Query()] = "/", error: Annotated[str | None, Query()] = None
) -> Response:
    """Ask for name and password."""
    return page("sign_in.html", next=next, error=error, status=401 if error else 200)


@router.get("/sign-in/code")
def sign_in_code(
    next: Annotated[str, Query()] = "/", error: Annotated[str | None, Query()] = None
) -> Response:
    """Ask for the second factor's code."""
    return page("sign_in_code.html", next=next, error=error, status=401 if error else 200)


@router.get("/first-password")
def first_password(
    here: Here,
    token: Annotated[str, Query()] = "",
    error: Annotated[str | None, Query()] = None,
) -> Response:
    """Let a one-time link set a password."""
    with here.database.reading() as db:
        login = login_of_link(db, token, now=here.now()) if token else None
    return page("first_password.html", token=token, error=error, login=login, least=SHORTEST)


@router.post("/settings/first-password")
def begin_passwords(here: Here) -> Response:
    """Make the link that sets the first password, and follow it."""
    with here.database.session() as db:
        here.person(db, may="govern")
        token = make_setup_link(db, now=here.now())
    return see_other(f"/first-password?token={token}" if token else "/account")


@router.get("/settings")
def settings(here: Here, message: Annotated[str | None, Query()] = None) -> Response:
    """Show who gets mail, and what was deleted."""
    return _settings_page(here, {}, {}, _MESSAGES.get(message or ""))


def _settings_page(
    here: Context, values: Mapping[str, str], errors: Mapping[str, str], message: str | None
) -> Response:
    with here.database.reading() as db:
        caller = here.person(db, may="arrange")
        firm_id = caller.firm_id
        recipients = [_shown(one) for one in queries.recipients(db, firm_id=firm_id)]
        deleted = site_queries.list_deleted(db, firm_id=firm_id)
        gone = [{"name": one.name, "slug": one.slug} for one in deleted]
        sites = site_queries.list_sites(db, firm_id=firm_id)
    zone = sites[0].timezone if sites else "Europe/London"
    return page(
        "settings.html",
        status=422 if errors else 200,
        recipients=recipients,
        deleted=gone,
        values=values,
        errors=errors,
        message=message,
        default_zone=zone,
        week=str(week_of(local_date(here.now().timestamp(), zone))),
        governs=caller.may("govern"),
        signed_in=not caller.is_own_machine,
        mail_way=_mail_way(here),
    )


def _mail_way(here: Context) -> str:
    if here.settings.smtp_host:
        return f"Mails go out by {here.settings.smtp_host}."
    return (
        "No mail server is set (SUNTALLY_SMTP_HOST), so mails are written as .eml files into "
        f"{here.settings.outbox.resolve()}."
    )


def _shown(one: Recipient) -> dict[str, object]:
    return {
        "id": one.id,
        "name": one.name,
        "address": one.address,
        "when": when_words(one),
        "paused": one.paused_at is not None,
        "refused": one.refused_why,
        "refusals": one.refusals,
    }


@router.post("/settings/recipients")
def add_recipient(
    here: Here,
    address: Annotated[str, Form()] = "",
    name: Annotated[str, Form()] = "",
    timezone: Annotated[str, Form()] = "",
    quiet_from: Annotated[str, Form()] = "21:00",
    quiet_until: Annotated[str, Form()] = "07:00",
) -> Response:
    """Add somebody who gets mail."""
    values = {
        "address": address.strip()[:254],
        "name": name.strip()[:200],
        "timezone": timezone.strip(),
        "quiet_from": quiet_from,
        "quiet_until": quiet_until,
    }
    errors = wrong_address(values["address"]) | wrong_times(values)
    if errors:
        return _settings_page(here, values, errors, None)
    try:
        with here.database.session() as db:
            caller = here.person(db, may="arrange")
            db.add(Recipient(firm_id=caller.firm_id, created_at=here.now(), **values))
    except IntegrityError:
        return _settings_page(here, values, {"address": "This address gets mail already."}, None)
    return see_other("/settings?message=added")


@router.post("/settings/recipients/{recipient_id}/remove")
def remove_recipient(here: Here, recipient_id: RowId) -> Response:
    """Stop mail to somebody."""
    with here.database.session() as db:
        caller = here.person(db, may="arrange")
        reader = queries.recipient_of(db, firm_id=caller.firm_id, recipient_id=recipient_id)
        outbox.withdraw_from(db, firm_id=caller.firm_id, address=reader.address)
        db.delete(reader)
    return see_other("/settings?message=removed")
