"""Claims: a piece of work has a key, and one worker at a time has the key.

A claim is held for a lease. Work that must happen once for good (a week's digest) ends with
`done`, in the transaction that holds its effect; work that comes back (a site to analyse) ends
with `finish`. Whoever lost the claim in the meantime gets `LostClaimError`, and with it the
transaction rolls back. A dead worker's claims fall free when their lease ends, or at once when
somebody who knows of its death calls `release_dead`. Work that came to no end several times rests
in its claim, longer each time, so that what ends every worker does not keep them from the rest.
"""

from collections.abc import Collection, Sequence
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any, cast

from sqlalchemy import (
    ColumnElement,
    CursorResult,
    and_,
    bindparam,
    delete,
    exists,
    func,
    or_,
    select,
    update,
)
from sqlalchemy.orm import Session

from service.db.engine import dialect_of, insert_for
from service.db.models import Claim
from service.db.moment import AHEAD, NOW, moment

HELD = "held"
DONE = "done"

# Deaths happen (power, updates): so many times work is taken up again at once.
_FORGIVEN = 2
_FIRST_REST = timedelta(minutes=2)
_LONGEST_REST = timedelta(hours=1)
_NOBODY = ""
# One that ends far ahead was given by a wrong clock.
_FREE = or_(Claim.lease_until <= NOW, Claim.lease_until > AHEAD)


class LostClaimError(Exception):
    """The lease ended and somebody else took the work over."""


def claim(db: Session, *, key: str, holder: str, now: datetime, until: datetime) -> int:
    """Take a key; gives the how manieth try it is, 0 where it is held or done for good."""
    values = {"key": key, "holder": holder, "lease_until": until, "claimed_at": now}
    found = db.connection().execute(_claiming(dialect_of(db)), {**values, **moment(now)})
    return found.scalar() or 0


# What each analysis asks is put into words once.
@lru_cache
def _claiming(dialect: str) -> Any:
    statement = insert_for(dialect, Claim).values(state=HELD)
    new = statement.excluded
    statement = statement.on_conflict_do_update(
        index_elements=[Claim.key],
        set_={
            **{name: new[name] for name in ("state", "holder", "lease_until", "claimed_at")},
            "tries": Claim.tries + 1,
        },
        where=(Claim.state == HELD) & or_(_FREE, Claim.holder == new.holder),
    )
    # What an INSERT counts differs between drivers; what it returns does not.
    return statement.returning(Claim.tries)


def renew(db: Session, *, holder: str, keys: Collection[str], until: datetime) -> None:
    """Lengthen the lease of what a worker has in hand."""
    if keys:
        own = _in_hand(holder, keys)
        # In order, as they are given back: two that lock some in each one's order stop each other.
        db.execute(select(Claim.key).where(own).order_by(Claim.key).with_for_update()).all()
        db.execute(update(Claim).where(own).values(lease_until=until))


def done(db: Session, *, key: str, holder: str) -> None:
    """Say that the work of a held key is done for good."""
    changed = db.execute(
        update(Claim)
        .where(Claim.key == key, Claim.holder == holder, Claim.state == HELD)
        .values(state=DONE)
    )
    if _count(changed) != 1:
        raise LostClaimError(key)


def finish(db: Session, *, key: str, holder: str) -> None:
    """Give a held key back after its work."""
    if _count(db.connection().execute(_FINISH, {"key": key, "holder": holder})) != 1:
        raise LostClaimError(key)


_FINISH = delete(Claim).where(
    Claim.key == bindparam("key"), Claim.holder == bindparam("holder"), Claim.state == HELD
)


def release(db: Session, *, key: str, holder: str) -> None:
    """Give a key back without having done its work; nothing happens where it is lost already."""
    db.connection().execute(_FINISH, {"key": key, "holder": holder})


def put_back(db: Session, *, keys: Collection[str], holder: str, now: datetime) -> None:
    """Give keys back whose work was not begun; earlier tries stay counted."""
    for one in _held_of(db, holder=holder, keys=keys):
        if one.tries > 1:
            one.tries -= 1
            one.holder, one.lease_until = _NOBODY, now
        else:
            db.delete(one)


def release_all(db: Session, *, holder: str) -> None:
    """Free everything that a worker holds, which has stopped in good order."""
    db.execute(delete(Claim).where(Claim.holder == holder, Claim.state == HELD))


def release_dead(db: Session, *, holder: str, now: datetime) -> list[str]:
    """Free what a dead worker held; gives the keys of what outlived several workers and rests."""
    held = select(Claim).where(Claim.holder == holder, Claim.state == HELD).with_for_update()
    return [one.key for one in db.scalars(held) if _outlived(one, now=now)]


def held(db: Session, *, holder: str, keys: Collection[str]) -> set[str]:
    """Give those of the keys that somebody holds."""
    return set(db.scalars(select(Claim.key).where(_in_hand(holder, keys))))


def release_lost(db: Session, *, keys: Collection[str], holder: str, now: datetime) -> list[str]:
    """Free what lost helpers of a living worker had; gives what outlived several and rests."""
    held = _held_of(db, holder=holder, keys=keys)
    return [one.key for one in held if _outlived(one, now=now)]


def _held_of(db: Session, *, holder: str, keys: Collection[str]) -> Sequence[Claim]:
    """Give claims of a worker, locked in order."""
    found = select(Claim).where(_in_hand(holder, keys))
    return db.scalars(found.order_by(Claim.key).with_for_update()).all()


def _in_hand(holder: str, keys: Collection[str]) -> ColumnElement[bool]:
    return and_(Claim.holder == holder, Claim.state == HELD, Claim.key.in_(sorted(keys)))


def _outlived(one: Claim, *, now: datetime) -> bool:
    pause = rest_after(one.tries - _FORGIVEN)
    one.holder, one.lease_until = _NOBODY, now + pause
    return bool(pause)


def rest(db: Session, *, key: str, holder: str, now: datetime) -> None:
    """Put work that failed aside for a while; nothing happens where its claim is lost already."""
    one = db.get(Claim, key, with_for_update=True)
    if one is not None and one.holder == holder and one.state == HELD:
        one.holder = _NOBODY
        one.lease_until = now + rest_after(one.tries)


def rest_after(tries: int) -> timedelta:
    """Give how long work rests after so many vain tries: two minutes, doubled, to an hour."""
    if tries < 1:
        return timedelta(0)
    return min(_FIRST_REST * 2.0 ** min(tries - 1, 10), _LONGEST_REST)


def unclaimed(key: ColumnElement[str]) -> ColumnElement[bool]:
    """Tell of a key in a statement about a `moment` that nobody holds it and it does not rest."""
    return ~exists().where(Claim.key == key, Claim.state == HELD, ~_FREE)


def rests(key: ColumnElement[str]) -> ColumnElement[bool]:
    """Tell of a key in a statement about a `moment` that its work rests."""
    return exists().where(Claim.key == key, Claim.state == HELD, Claim.holder == _NOBODY, ~_FREE)


def count_of(db: Session, *, prefix: str, now: datetime) -> tuple[int, int]:
    """Count the keys with a prefix that are held, and those that rest."""
    found = select(
        func.count().filter(Claim.holder != _NOBODY), func.count().filter(Claim.holder == _NOBODY)
    ).where(Claim.state == HELD, Claim.key.startswith(prefix), ~_FREE)
    held, resting = db.execute(found, moment(now)).one()
    return held, resting


def done_keys(db: Session, *, prefix: str) -> list[str]:
    """Give the keys with a prefix whose work is done for good, in order."""
    found = select(Claim.key).where(Claim.state == DONE, Claim.key.startswith(prefix))
    return list(db.scalars(found.order_by(Claim.key)))


def forget_old(db: Session, *, before: datetime) -> None:
    """Drop what was left of work that is long over: resting claims, and digests of past weeks."""
    db.execute(
        delete(Claim).where(
            Claim.claimed_at < before,
            or_(
                (Claim.state == HELD) & (Claim.lease_until < before),
                (Claim.state == DONE) & Claim.key.startswith("digest:"),
            ),
        )
    )


def _count(result: Any) -> int:
    return cast(CursorResult[Any], result).rowcount
