"""Signing in and out, and the first password. The pages themselves are in `service.pages`."""

import threading
from collections import deque
from datetime import datetime, timedelta
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse

from service.accounts import actions
from service.accounts.access import COOKIE
from service.context import Context, Here
from service.errors import InvalidError, ServiceError, TooManyError

router = APIRouter(include_in_schema=False)

_TRIES = 5
_WITHIN = timedelta(minutes=1)


class Attempts:
    """Sign-ins per address of the last minute that did not succeed, in this process's memory."""

    def __init__(self) -> None:
        self._failed: dict[str, deque[datetime]] = {}
        self._lock = threading.Lock()

    def begin(self, address: str, now: datetime) -> None:
        """Count an attempt before it is looked at, so that many at once do not slip through.

        Raises
        ------
        TooManyError : the address failed too often
        """
        with self._lock:
            for known in [one for one, at in self._failed.items() if now - at[-1] > _WITHIN]:
                del self._failed[known]
            times = self._failed.setdefault(address, deque(maxlen=_TRIES))
            if len(times) >= _TRIES and now - times[0] < _WITHIN:
                raise TooManyError("Too many wrong passwords; wait a minute and try again.")
            times.append(now)

    def succeeded(self, address: str) -> None:
        """Forget what an address did wrong before."""
        with self._lock:
            self._failed.pop(address, None)


@router.post("/sign-in")
def sign_in(
    here: Here,
    password: Annotated[str, Form()] = "",
    login: Annotated[str, Form()] = "",
    next: Annotated[str, Form()] = "/",
) -> RedirectResponse:
    """Sign a browser in and go on to where it wanted to be."""
    attempts: Attempts = here.request.app.state.attempts
    address, now = _address(here.request), here.now()
    try:
        attempts.begin(address, now)
        # The slow hash is worked out outside the transaction that writes.
        with here.database.reading() as db:
            account = actions.check_password(db, login=login, password=password)
        with here.database.session() as db:
            token = actions.start_session(
                db, account=account, now=now, days=here.settings.session_days
            )
    except TooManyError:
        return _see_other(f"/sign-in?error=wait&next={quote(_own_path(next))}")
    except ServiceError:
        return _see_other(f"/sign-in?error=wrong&next={quote(_own_path(next))}")
    attempts.succeeded(address)
    return _signed_in(here, token, _own_path(next))


@router.post("/sign-out")
def sign_out(here: Here) -> RedirectResponse:
    """Sign a browser out."""
    token = here.request.cookies.get(COOKIE)
    if token:
        with here.database.session() as db:
            actions.end_session(db, token=token)
    answer = _see_other("/sign-in")
    answer.delete_cookie(COOKIE)
    return answer


@router.post("/first-password")
def first_password(
    here: Here, token: Annotated[str, Form()] = "", password: Annotated[str, Form()] = ""
) -> RedirectResponse:
    """Set the first password by the one-time link, and sign in."""
    now = here.now()
    try:
        with here.database.session() as db:
            account = actions.set_first_password(db, token=token, password=password, now=now)
            session = actions.start_session(
                db, account=account, now=now, days=here.settings.session_days
            )
    except InvalidError:
        return _see_other(f"/first-password?token={quote(token)}&error=length")
    except ServiceError:
        return _see_other("/first-password?error=link")
    return _signed_in(here, session, "/")


def _signed_in(here: Context, token: str, path: str) -> RedirectResponse:
    answer = _see_other(path)
    answer.set_cookie(
        COOKIE,
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


def _address(request: Request) -> str:
    return request.client.host if request.client else ""
