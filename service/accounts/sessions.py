"""Signed-in browsers: how one begins, with its second factor, where somebody is in, how it ends."""

from datetime import datetime, timedelta
from typing import Literal

from sqlalchemy.orm import Session

from service.accounts import queries, second_factor
from service.accounts.secrets import hashed, new_secret
from service.db.models import Account, WebSession
from service.errors import NotFoundError, SignedOutError

_CODE_WITHIN = timedelta(minutes=10)
_CODE_TRIES = 5
_LONGEST_IDLE = timedelta(days=400)
# A word in what a browser says of itself, and what it then runs on; the first that is there counts.
_DEVICES = (
    ("mobi", "handheld"),
    ("tablet", "handheld"),
    ("android", "handheld"),
    ("mozilla/", "computer"),
    ("", "program"),
)


def device_of(user_agent: str) -> str:
    """Tell what a browser runs on; nothing else of what it says is kept.

    Parameters
    ----------
    user_agent : the header of this name (RFC 9110), which anybody can make up

    Returns
    -------
    `handheld`, `computer`, or `program` for what is no browser
    """
    said = user_agent.lower()
    return next(device for word, device in _DEVICES if word in said)


def start(
    db: Session,
    *,
    account: Account,
    now: datetime,
    days: int,
    idle: timedelta = _LONGEST_IDLE,
    device: str | None = None,
) -> str:
    """Sign a browser in, as far as a second factor lets it; gives the cookie's value.

    Sign-ins that have ended by now, or were not used for `idle`, are forgotten.
    """
    token = new_secret("web")
    code_due = account.totp_confirmed
    db.add(
        WebSession(
            token_hash=hashed(token),
            account_id=account.id,
            device=device,
            code_due=code_due,
            used_at=now,
            created_at=now,
            expires_at=now + (_CODE_WITHIN if code_due else timedelta(days=days)),
        )
    )
    queries.drop_expired(db, now=now, idle=idle)
    return token


def finish(
    db: Session, *, token: str, code: str, now: datetime, days: int
) -> tuple[Account, Literal["right", "wrong", "held"]]:
    """Take the second factor's code for a browser; tells whose it is, and what became of it.

    After too many wrong ones a code is held off unheard, until the password is given anew.

    Raises
    ------
    SignedOutError : there is no such sign-in (any more)
    """
    waiting = queries.session_with_code_due(db, token_hash=hashed(token), now=now)
    account = db.get(Account, waiting.account_id, with_for_update=True) if waiting else None
    if waiting is None or account is None:
        raise SignedOutError("Sign in with the password first.")
    if waiting.tries >= _CODE_TRIES:
        return account, "held"
    if not second_factor.accepts(account, code=code, now=now):
        waiting.tries += 1
        return account, "wrong"
    waiting.code_due = False
    waiting.used_at = now
    waiting.expires_at = now + timedelta(days=days)
    return account, "right"


def of_account(db: Session, account: Account, *, session_id: int) -> WebSession:
    """Give one of the browsers that an account is signed in with.

    Raises
    ------
    NotFoundError : it is not signed in (any more), or not with this account
    """
    found = queries.session_of(db, account_id=account.id, session_id=session_id)
    if found is None:
        raise NotFoundError("This browser is not signed in (any more).")
    return found
