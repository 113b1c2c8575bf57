"""The firm's people, its keys for programs, and the trail of who did what."""

from typing import Annotated

from fastapi import APIRouter, Form, Query, Response
from sqlalchemy.orm import Session

from dashboards.format import day, moment, number
from service.accounts import people, queries
from service.accounts.rights import KEY_ROLES, PERSON_ROLES, ROLE_WORDS
from service.accounts.trail_words import deed_words
from service.context import Context, Here, RowId
from service.db.models import Account
from service.errors import ServiceError
from service.pages.answers import page, see_other

router = APIRouter(include_in_schema=False)

_TRAIL_LINES = 200


@router.get("/people")
def show(here: Here) -> Response:
    """Show who belongs to the firm, and its keys."""
    return _page(here)


def _page(
    here: Context,
    *,
    errors: dict[str, str] | None = None,
    link: str | None = None,
    link_for: str | None = None,
    secret: str | None = None,
) -> Response:
    with here.database.reading() as db:
        caller = here.person(db, may="govern")
        context = {
            "accounts": [
                {
                    "id": one.id,
                    "login": one.login,
                    "name": one.name,
                    "role": one.role,
                    "invited": one.password_hash is None,
                    "second_factor": one.totp_confirmed,
                    "oneself": one.id == caller.account_id,
                }
                for one in queries.accounts_of(db, firm_id=caller.firm_id)
            ],
            "keys": [
                {
                    "id": key.id,
                    "label": key.label,
                    "role": key.role,
                    "made": day(key.created_at.date()),
                }
                for key in queries.firm_keys(db, firm_id=caller.firm_id)
            ],
            "open": caller.is_own_machine,
        }
    return page(
        "people.html",
        status=422 if errors else 200,
        roles=[(role, ROLE_WORDS[role]) for role in PERSON_ROLES],
        all_roles=tuple(ROLE_WORDS.items()),
        key_roles=[(role, ROLE_WORDS[role]) for role in KEY_ROLES],
        errors=errors or {},
        days=people.LINK_DAYS,
        link=link,
        link_for=link_for,
        secret=secret,
        **context,
    )


@router.post("/people")
def invite(
    here: Here,
    login: Annotated[str, Form()] = "",
    name: Annotated[str, Form()] = "",
    role: Annotated[str, Form()] = "technician",
) -> Response:
    """Make an account and show the link that sets its password."""
    try:
        with here.database.session() as db:
            caller = here.person(db, may="govern")
            account, token = people.invite(
                db, firm_id=caller.firm_id, login=login, name=name, role=role, now=here.now()
            )
    except ServiceError as error:
        if error.status not in (409, 422):
            raise
        return _page(here, errors={str(error.extra.get("field", "login")): error.detail})
    return _page(here, link=_link(here, token), link_for=account.login)


def _link(here: Context, token: str) -> str:
    return f"{here.settings.public_url}/first-password?token={token}"


@router.post("/people/{account_id}/link")
def new_link(here: Here, account_id: RowId) -> Response:
    """Make a new link for somebody who lost password or link."""
    with here.database.session() as db:
        account = _somebody(db, here, account_id)
        token = people.password_link(db, account=account, now=here.now())
    return _page(here, link=_link(here, token), link_for=account.login)


@router.post("/people/{account_id}/role")
def set_role(here: Here, account_id: RowId, role: Annotated[str, Form()] = "") -> Response:
    """Give somebody another role."""
    try:
        with here.database.session() as db:
            people.set_role(db, account=_somebody(db, here, account_id), role=role)
    except ServiceError as error:
        return _refused(here, error)
    return see_other("/people")


@router.post("/people/{account_id}/close")
def close(here: Here, account_id: RowId) -> Response:
    """Shut somebody out."""
    try:
        with here.database.session() as db:
            people.close(db, account=_somebody(db, here, account_id), now=here.now())
    except ServiceError as error:
        return _refused(here, error)
    return see_other("/people")


def _somebody(db: Session, here: Context, account_id: int) -> Account:
    caller = here.person(db, may="govern")
    return people.account_of(db, firm_id=caller.firm_id, account_id=account_id)


def _refused(here: Context, error: ServiceError) -> Response:
    """Say on the page what did not fit; what is not the caller's is answered like everywhere."""
    if error.status not in (409, 422):
        raise error
    return _page(here, errors={"accounts": error.detail})


@router.post("/people/keys")
def make_key(
    here: Here, label: Annotated[str, Form()] = "", role: Annotated[str, Form()] = "reader"
) -> Response:
    """Make a key for programs and show it this once."""
    with here.database.session() as db:
        caller = here.person(db, may="govern")
        _, secret = people.make_key(
            db, firm_id=caller.firm_id, label=label, role=role, now=here.now()
        )
    return _page(here, secret=secret)


@router.post("/people/keys/{key_id}/revoke")
def revoke_key(here: Here, key_id: RowId) -> Response:
    """Make a key useless."""
    with here.database.session() as db:
        caller = here.person(db, may="govern")
        people.revoke_key(db, firm_id=caller.firm_id, key_id=key_id, now=here.now())
    return see_other("/people")


@router.get("/trail")
def trail(here: Here, before: Annotated[int | None, Query(ge=1, le=2**31 - 1)] = None) -> Response:
    """Show who did what, the newest first."""
    with here.database.reading() as db:
        caller = here.person(db, may="govern")
        found = queries.trail_of(
            db, firm_id=caller.firm_id, before_id=before, limit=_TRAIL_LINES + 1
        )
    lines = [
        {
            "at": moment(int(one.at.timestamp()), "UTC"),
            "who": one.who,
            "what": deed_words(one.what) + _times(one.count),
            "subject": one.subject or "",
        }
        for one in found[:_TRAIL_LINES]
    ]
    more = found[_TRAIL_LINES - 1].id if len(found) > _TRAIL_LINES else None
    return page("trail.html", lines=lines, older=more)


def _times(count: int) -> str:
    return f", {number(count)} times" if count > 1 else ""
