"""Signing in and out, and passwords by link. The pages themselves are in `service.pages`."""

from datetime import datetime
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Form
from fastapi.responses import RedirectResponse
from sqlalchemy.orm import Session
from starlette.background import BackgroundTask

from service.accounts import actions, queries, sessions, sign_ins, trail
from service.accounts.access import cookie_of, shown_session
from service.accounts.actions import FIRST_LOGIN
from service.accounts.attempts import Attempts, whose
from service.accounts.held_tries import HeldTries
from service.context import Context, Here
from service.db.models import Account
from service.errors import InvalidError, ServiceError, TooManyError

router = APIRouter(include_in_schema=False)

# No account is called longer; what somebody types may be, and is held in memory for a minute.
_LONGEST_LOGIN = 200


@router.post("/sign-in")
def sign_in(
    here: Here,
    password: Annotated[str, Form()] = "",
    login: Annotated[str, Form()] = "",
    next: Annotated[str, Form()] = "/",
) -> RedirectResponse:
    """Sign a browser in and go on to where it wanted to be."""
    attempts: Attempts = here.request.app.state.attempts
    now = here.now()
    login = login.strip() or FIRST_LOGIN
    who = _who(here, login)
    try:
        attempts.begin(who, now)
        # The slow hash is worked out outside the transaction that writes.
        with here.database.reading() as db:
            account = actions.check_password(db, login=login, password=password)
        with here.database.session() as db:
            token = _session(here, db, account, now=now)
            if not account.totp_confirmed:  # else a code is still to come
                sign_ins.note_success(db, account, now=now)
    except TooManyError:
        _hold(here, login)
        return _see_other(f"/sign-in?error=wait&next={quote(_own_path(next))}")
    except ServiceError:
        answer = _see_other(f"/sign-in?error=wrong&next={quote(_own_path(next))}")
        answer.background = _failure(here, login, sign_ins.FAILED)
        return answer
    path = _own_path(next)
    if account.totp_confirmed:
        # Not in yet: whoever has the password alone would else try codes as often as they like.
        return _signed_in(here, token, _code_page(path))
    attempts.succeeded(who)
    return _signed_in(here, token, path)


@router.post("/sign-in/code")
def second_factor(
    here: Here, code: Annotated[str, Form()] = "", next: Annotated[str, Form()] = "/"
) -> RedirectResponse:
    """Take the second factor's code and go on to where the browser wanted to be."""
    token = here.request.cookies.get(cookie_of(here.settings), "")
    path = _own_path(next)
    try:
        with here.database.session() as db:
            account, became = sessions.finish(
                db, token=token, code=code, now=here.now(), days=here.settings.session_days
            )
            if became == "right":
                sign_ins.note_success(db, account, now=here.now())
    except ServiceError:
        return _see_other(f"/sign-in?error=again&next={quote(path)}")
    if became == "right":
        attempts: Attempts = here.request.app.state.attempts
        attempts.succeeded(_who(here, account.login))
        return _signed_in(here, token, path)
    if became == "held":
        _hold(here, account.login)
        return _see_other(f"/sign-in?error=again&next={quote(path)}")
    answer = _see_other(_code_page(path, wrong=True))
    answer.background = _failure(here, account.login, sign_ins.WRONG_CODE)
    return answer


def _who(here: Context, login: str) -> tuple[str, str]:
    """Give under which address and which account a try counts."""
    return f"address {whose(here.address())}", f"account {login[:_LONGEST_LOGIN]}"


def _hold(here: Context, login: str) -> None:
    """Count one that is turned away; in a flood a transaction for each would cost too much."""
    tries: HeldTries = here.request.app.state.held_tries
    tries.add(login=login, address=here.address(), now=here.now())


def _session(here: Context, db: Session, account: Account, *, now: datetime) -> str:
    """Sign this browser in, and out of what it was signed in to before."""
    token_hash = shown_session(here.request)
    if token_hash is not None:
        queries.drop_session(db, token_hash=token_hash)
    return sessions.start(
        db,
        account=account,
        now=now,
        days=here.settings.session_days,
        idle=here.settings.session_idle,
        device=sessions.device_of(here.request.headers.get("user-agent", "")),
    )


def _failure(here: Context, login: str, what: str) -> BackgroundTask:
    """Note it once it is answered: nobody waits, and known names take no longer than others."""
    return BackgroundTask(
        sign_ins.note_failure,
        here.database,
        login=login,
        address=here.address(),
        what=what,
        now=here.now(),
    )


def _code_page(path: str, *, wrong: bool = False) -> str:
    return f"/sign-in/code?next={quote(path)}{'&error=wrong' if wrong else ''}"


@router.post("/sign-out")
def sign_out(here: Here) -> RedirectResponse:
    """Sign a browser out."""
    token_hash = shown_session(here.request)
    if token_hash is not None:
        with here.database.session() as db:
            queries.drop_session(db, token_hash=token_hash)
    answer = _see_other("/sign-in")
    answer.delete_cookie(cookie_of(here.settings), secure=here.settings.secure_cookies)
    return answer


@router.post("/first-password")
def first_password(
    here: Here, token: Annotated[str, Form()] = "", password: Annotated[str, Form()] = ""
) -> RedirectResponse:
    """Set a password by a one-time link, and sign in."""
    now = here.now()
    try:
        with here.database.session() as db:
            account = actions.set_password_by_link(db, token=token, password=password, now=now)
            trail.add(
                db, account.firm_id, who=account.login, what="password", subject=None, now=now
            )
            session = _session(here, db, account, now=now)
    except InvalidError:
        return _see_other(f"/first-password?token={quote(token)}&error=length")
    except ServiceError:
        return _see_other("/first-password?error=link")
    return _signed_in(here, session, _code_page("/") if account.totp_confirmed else "/")


def _signed_in(here: Context, token: str, path: str) -> RedirectResponse:
    answer = _see_other(path)
    answer.set_cookie(
        cookie_of(here.settings),
        token,
        max_age=here.settings.session_days * 86_400,
        httponly=True,
        secure=here.settings.secure_cookies,
        samesite="lax",
        path="/",
    )
    return answer


def _see_other(path: str) -> RedirectResponse:
    return RedirectResponse(path, status_code=303)


def _own_path(path: str) -> str:
    """Give a path of this service; anything that leads elsewhere becomes the front page."""
    good = path.startswith("/") and not path.startswith(("//", "/\\"))
    return path if good and path.isprintable() else "/"
