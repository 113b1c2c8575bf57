"""Sign-ins on record: when somebody came in, and tries that failed, bounded however many there are.

Of tries that failed, or were turned away unheard, there is one line for each account or unknown
name, address and hour, with their count; the worker forgets them after ninety days. A name that
nobody has is not kept: it is often a password in the wrong field.
"""

import asyncio
import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session
from starlette.concurrency import run_in_threadpool

from service.accounts import queries, trail
from service.accounts.held_tries import HeldTries
from service.db.engine import Database
from service.db.models import Account

LOG = logging.getLogger("suntally.web")

SIGNED_IN, FAILED, WRONG_CODE = "sign-in", "sign-in-failed", "sign-in-code-failed"
HELD, WRONG_OWN = "sign-in-held", "own-password-failed"
_FAILURES = (FAILED, WRONG_CODE, HELD, WRONG_OWN)
_CAME_IN = (SIGNED_IN, "password")  # who sets a password by its link is in, too
NOBODY = "a name that nobody has"
# Lines of an hour; whoever tries from more addresses is one line together.
_MOST_LINES = 50
_OTHERS = "other addresses"
_HELD_NOTED_EVERY_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SignIns:
    """When an account was signed in to, and how often that failed.

    Attributes
    ----------
    last, before : the latest two sign-ins, as far as there are any
    failed : tries that failed, or were turned away, since the one before the latest
    """

    last: datetime | None
    before: datetime | None
    failed: int


def note_success(db: Session, account: Account, *, now: datetime) -> None:
    """Note that somebody came in, with all that was asked."""
    trail.add(db, account.firm_id, who=account.login, what=SIGNED_IN, subject=None, now=now)


def note_failure(database: Database, *, login: str, address: str, what: str, now: datetime) -> None:
    """Note a try that failed; where that cannot be stored, the log has it.

    Parameters
    ----------
    login : as it was typed
    address : of the network, from which it came
    what : `FAILED`, `WRONG_CODE` or `WRONG_OWN`
    """
    try:
        with database.session() as db:
            _note(db, login, f"from {address}", what=what, now=now)
    except SQLAlchemyError as error:
        LOG.warning("a failed sign-in could not be noted: %s", str(error).splitlines()[0])


def note_held(database: Database, tries: HeldTries) -> None:
    """Note tries that were turned away; those that cannot be stored wait for the next time."""
    try:
        with tries.taken() as taken:
            if not taken:
                return
            with database.session() as db:
                for who, held in taken.items():
                    subject = _OTHERS if who.address is None else f"from {who.address}"
                    _note(db, who.login, subject, what=HELD, now=held.since, times=held.count)
    except SQLAlchemyError as error:
        LOG.warning("sign-ins turned away could not be noted: %s", str(error).splitlines()[0])


@asynccontextmanager
async def noting_held(database: Database, tries: HeldTries) -> AsyncIterator[None]:
    """Note every minute what was turned away, and once more at the end."""

    stopping = asyncio.Event()

    async def every_minute() -> None:
        while not stopping.is_set():
            with suppress(TimeoutError):
                await asyncio.wait_for(stopping.wait(), _HELD_NOTED_EVERY_S)
            await run_in_threadpool(note_held, database, tries)

    task = asyncio.create_task(every_minute())
    try:
        yield
    finally:
        stopping.set()
        await task


def _note(
    db: Session, login: str, subject: str, *, what: str, now: datetime, times: int = 1
) -> None:
    account = queries.account_by_login(db, login)
    firm = queries.first_firm(db)
    firm_id = account.firm_id if account else firm.id if firm else None
    if firm_id is not None:
        _count(db, firm_id, account, what=what, subject=subject, now=now, times=times)


def forget_old(db: Session, *, before: datetime) -> None:
    """Forget tries that failed long ago: they bear addresses, and floods of them add up."""
    queries.drop_lines(db, whats=_FAILURES, before=before)


def _latest(db: Session, account: Account, *, most: int) -> list[datetime]:
    return queries.latest_times(
        db, firm_id=account.firm_id, who=account.login, whats=_CAME_IN, most=most
    )


def _count(
    db: Session,
    firm_id: int,
    account: Account | None,
    *,
    what: str,
    subject: str,
    now: datetime,
    times: int,
) -> None:
    queries.lock_firm(db, firm_id)  # one at a time counts
    hour = now.replace(minute=0, second=0, microsecond=0)
    lines = queries.lines_since(db, firm_id=firm_id, whats=_FAILURES, since=hour)
    who = account.login if account else NOBODY
    # What failed after somebody came in is told apart from what failed before.
    last = next(iter(_latest(db, account, most=1)), None) if account else None
    same = {
        one.subject: one
        for one in lines
        if (one.who, one.what) == (who, what) and (last is None or (one.at > last) == (now > last))
    }
    if subject not in same and len(lines) >= _MOST_LINES:
        subject = _OTHERS
    if subject in same:
        same[subject].count += times
    else:
        trail.add(db, firm_id, who=who, what=what, subject=subject, now=now, count=times)


def sign_ins_of(db: Session, account: Account) -> SignIns:
    """Say when an account was signed in to, and how often that failed."""
    times = _latest(db, account, most=2)
    return SignIns(
        last=times[0] if times else None,
        before=times[1] if len(times) > 1 else None,
        failed=queries.count_lines(
            db,
            firm_id=account.firm_id,
            who=account.login,
            whats=_FAILURES,
            after=times[1] if len(times) > 1 else None,
        ),
    )
