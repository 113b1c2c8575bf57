"""One's own account: password, second factor, the browsers that are signed in."""

import io
from datetime import datetime
from functools import partial
from typing import Annotated

import segno
from fastapi import APIRouter, Form, Query, Response
from sqlalchemy.orm import Session

from dashboards.format import moment, plural
from service.accounts import actions, people, queries, second_factor, sessions, sign_ins
from service.accounts.access import shown_session
from service.accounts.attempts import Attempts
from service.accounts.held_tries import HeldTries
from service.accounts.passwords import SHORTEST
from service.afterwards import after_the_answer
from service.context import Context, Here, RowId
from service.db.models import Account
from service.errors import ConflictError, InvalidError, TooManyError
from service.pages.answers import page, see_other

router = APIRouter(include_in_schema=False)

_MESSAGES = {
    "off": "The second factor is off.",
    "ended": "That one is signed out.",
    "others": "All others are signed out.",
}
_DEVICES = {
    "handheld": "A browser on a phone or tablet",
    "computer": "A browser on a computer",
    "program": "A program that is no browser",
    None: "A browser, not known on what",
}
# Whoever has more is told how many.
_MOST_LISTED = 30


def own_account(db: Session, here: Context) -> Account:
    """Give the account of whoever is signed in."""
    caller = here.person(db, may="see")
    if caller.account_id is None:
        raise ConflictError(
            "Nobody signs in here: no password is set yet, or a key was used. Set a password first."
        )
    return people.account_of(db, firm_id=caller.firm_id, account_id=caller.account_id)


@router.get("/account")
def show(here: Here, message: Annotated[str | None, Query()] = None) -> Response:
    """Show one's own account."""
    return _page(here, message=_MESSAGES.get(message or ""))


def _page(
    here: Context,
    *,
    errors: dict[str, str] | None = None,
    message: str | None = None,
    codes: list[str] | None = None,
) -> Response:
    with here.database.reading() as db:
        account = own_account(db, here)
        begun = account.totp_secret is not None and not account.totp_confirmed
        return page(
            "account.html",
            status=422 if errors else 200,
            login=account.login,
            role=account.role,
            came_in=_came_in(sign_ins.sign_ins_of(db, account)),
            **_signed_in(db, here, account),
            on=account.totp_confirmed,
            left=len(account.recovery_hashes),
            square=_square(second_factor.address_for_app(account)) if begun else None,
            key=account.totp_secret if begun else None,
            least=SHORTEST,
            errors=errors or {},
            message=message,
            codes=codes,
        )


def _signed_in(db: Session, here: Context, account: Account) -> dict[str, object]:
    """List where the account is signed in, this browser first."""
    found = queries.sessions_in_use(
        db, account_id=account.id, now=here.now(), idle=here.settings.session_idle
    )
    own = shown_session(here.request)
    found.sort(key=lambda one: one.token_hash != own)
    return {
        "signed_in": [
            {
                "id": one.id,
                "device": _DEVICES.get(one.device, _DEVICES[None]),
                "this": one.token_hash == own,
                "since": _moment(one.created_at),
                "used": _moment(one.used_at),
            }
            for one in found[:_MOST_LISTED]
        ],
        "unlisted": len(found[_MOST_LISTED:]),
    }


def _came_in(seen: sign_ins.SignIns) -> str:
    """Say when somebody came in last, and how often that failed."""
    if seen.last is None:
        return "No sign-in is on record yet."
    said = f"Last signed in {_utc(seen.last)}"
    if seen.before is not None:
        said += f", before that {_utc(seen.before)}"
    if not seen.failed:
        return f"{said}. No attempt has failed in between or since."
    return f"{said}. {plural(seen.failed, 'attempt')} failed in between or since; was that you?"


def _utc(when: datetime) -> str:
    return f"{_moment(when)} UTC"


def _moment(when: datetime) -> str:
    return moment(int(when.timestamp()), "UTC")


def _square(text: str) -> str:
    """Draw a QR code (ISO/IEC 18004) as SVG."""
    out = io.BytesIO()
    segno.make(text, error="m").save(
        out, kind="svg", scale=5, border=4, dark="#000", light="#fff", xmldecl=False, svgns=False
    )
    return out.getvalue().decode()


def _refusal(here: Context, password: str, *, field: str) -> Response | None:
    """Say that a password is wrong, before what cannot be undone; None where it is right.

    Whoever holds a browser that is signed in tries no faster than a stranger, and is on record.

    Raises
    ------
    TooManyError : too many were wrong
    """
    attempts: Attempts = here.request.app.state.attempts
    with here.database.reading() as db:  # the slow hash keeps no writer waiting
        account = own_account(db, here)
    # Counted by browser: one in wrong hands does not keep its owner from ending it from another.
    who = (f"browser {shown_session(here.request)}",)
    try:
        attempts.begin(who, here.now())
    except TooManyError:
        tries: HeldTries = here.request.app.state.held_tries
        tries.add(login=account.login, address=here.address(), now=here.now())
        raise
    try:
        actions.check_own_password(account, password)
    except InvalidError as error:
        noted = partial(
            sign_ins.note_failure,
            here.database,
            login=account.login,
            address=here.address(),
            what=sign_ins.WRONG_OWN,
            now=here.now(),
        )
        after_the_answer(here.request, noted)
        return _page(here, errors={field: error.detail})
    attempts.succeeded(who)
    return None


@router.post("/account/password")
def change_password(
    here: Here, old: Annotated[str, Form()] = "", new: Annotated[str, Form()] = ""
) -> Response:
    """Change the password; every browser has to sign in again."""
    if refused := _refusal(here, old, field="old"):
        return refused
    try:
        with here.database.session() as db:
            actions.change_password(db, account=own_account(db, here), new=new)
    except InvalidError as error:
        return _page(here, errors={str(error.extra.get("field")): error.detail})
    return see_other("/sign-in")


@router.post("/account/second-factor")
def begin_second_factor(here: Here) -> Response:
    """Make a key for the phone's app, to be confirmed by a code."""
    with here.database.session() as db:
        second_factor.begin(own_account(db, here))
    return see_other("/account#code")


@router.post("/account/second-factor/confirm")
def confirm_second_factor(
    here: Here, code: Annotated[str, Form()] = "", password: Annotated[str, Form()] = ""
) -> Response:
    """Turn the second factor on, and show the codes for a lost phone this once.

    For who knows the password: whoever else holds a signed-in browser would shut its owner out.
    """
    if refused := _refusal(here, password, field="on"):
        return refused
    try:
        with here.database.session() as db:
            codes = second_factor.confirm(own_account(db, here), code=code, now=here.now())
    except InvalidError as error:
        return _page(here, errors={"code": error.detail})
    return _page(here, codes=codes)


@router.post("/account/second-factor/off")
def end_second_factor(here: Here, password: Annotated[str, Form()] = "") -> Response:
    """Turn the second factor off, for who knows the password."""
    if refused := _refusal(here, password, field="off"):
        return refused
    with here.database.session() as db:
        second_factor.turn_off(own_account(db, here))
    return see_other("/account?message=off")


@router.post("/account/sessions/{session_id}/end")
def end_session(here: Here, session_id: RowId, password: Annotated[str, Form()] = "") -> Response:
    """Sign one browser of this account out, for who knows the password."""
    with here.database.reading() as db:
        sessions.of_account(db, own_account(db, here), session_id=session_id)
    if refused := _refusal(here, password, field=f"end-{session_id}"):
        return refused
    with here.database.session() as db:
        db.delete(sessions.of_account(db, own_account(db, here), session_id=session_id))
    return see_other("/account?message=ended#sessions")


@router.post("/account/sessions/end-others")
def end_others(here: Here, password: Annotated[str, Form()] = "") -> Response:
    """Sign every browser of this account but this one out, for who knows the password."""
    if refused := _refusal(here, password, field="end-others"):
        return refused
    with here.database.session() as db:
        account = own_account(db, here)
        queries.drop_sessions_of(db, account_id=account.id, but=shown_session(here.request))
    return see_other("/account?message=others#sessions")
