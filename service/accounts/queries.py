"""All SQL about firms, accounts, keys and sign-ins. Nothing here commits."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy import ColumnElement, delete, func, or_, select, update
from sqlalchemy.orm import Session

from service.db.models import (
    Account,
    CustomerLink,
    Firm,
    FirmKey,
    SetupLink,
    Site,
    TrailEntry,
    WebSession,
)


def first_firm(db: Session) -> Firm | None:
    """Give the firm that the service was set up for."""
    return db.scalar(select(Firm).order_by(Firm.id).limit(1))


def count_accounts(db: Session) -> int:
    """Give how many accounts there are, of all firms."""
    return int(db.scalar(select(func.count(Account.id))) or 0)


def account_by_login(db: Session, login: str) -> Account | None:
    """Give an account in use by the name it signs in with."""
    return db.scalar(select(Account).where(Account.login == login, Account.closed_at.is_(None)))


def login_taken(db: Session, login: str) -> bool:
    """Tell whether a name is used, by a closed account too."""
    return db.scalar(select(Account.id).where(Account.login == login)) is not None


def accounts_of(db: Session, *, firm_id: int) -> list[Account]:
    """Give a firm's accounts in use, the oldest first."""
    found = select(Account).where(Account.firm_id == firm_id, Account.closed_at.is_(None))
    return list(db.scalars(found.order_by(Account.id)))


def account_of(db: Session, *, firm_id: int, account_id: int) -> Account | None:
    """Give an account in use of a firm."""
    return db.scalar(
        select(Account).where(
            Account.id == account_id, Account.firm_id == firm_id, Account.closed_at.is_(None)
        )
    )


def session_in_use(
    db: Session, *, token_hash: str, now: datetime, idle: timedelta
) -> tuple[Account, datetime] | None:
    """Give whose browser this is, and when it was last used.

    None where the sign-in is over, lacks its code, or was not used for `idle`.
    """
    found = db.execute(
        select(Account, WebSession.used_at)
        .join(WebSession, WebSession.account_id == Account.id)
        .where(
            WebSession.token_hash == token_hash,
            *_in_use(now=now, idle=idle),
            Account.closed_at.is_(None),
        )
    ).one_or_none()
    return (found[0], found[1]) if found else None


def sessions_in_use(
    db: Session, *, account_id: int, now: datetime, idle: timedelta
) -> list[WebSession]:
    """Give an account's browsers that are signed in still, the one used last first."""
    found = select(WebSession).where(
        WebSession.account_id == account_id, *_in_use(now=now, idle=idle)
    )
    return list(db.scalars(found.order_by(WebSession.used_at.desc(), WebSession.id.desc())))


def session_of(db: Session, *, account_id: int, session_id: int) -> WebSession | None:
    """Give a browser of an account by its number."""
    return db.scalar(
        select(WebSession).where(WebSession.id == session_id, WebSession.account_id == account_id)
    )


def _in_use(*, now: datetime, idle: timedelta) -> tuple[ColumnElement[bool], ...]:
    return (
        WebSession.expires_at > now,
        WebSession.used_at > now - idle,
        WebSession.code_due.is_(False),
    )


def note_use(db: Session, *, token_hash: str, now: datetime) -> None:
    """Note that a browser is in use."""
    db.execute(update(WebSession).where(WebSession.token_hash == token_hash).values(used_at=now))


def session_with_code_due(db: Session, *, token_hash: str, now: datetime) -> WebSession | None:
    """Give a sign-in that waits for the second factor's code."""
    return db.scalar(
        select(WebSession)
        .where(
            WebSession.token_hash == token_hash,
            WebSession.expires_at > now,
            WebSession.code_due.is_(True),
        )
        .with_for_update()
    )


def drop_session(db: Session, *, token_hash: str) -> None:
    """Forget a signed-in browser."""
    db.execute(delete(WebSession).where(WebSession.token_hash == token_hash))


def drop_sessions_of(db: Session, *, account_id: int, but: str | None = None) -> None:
    """Forget all browsers of an account, but that of one token's hash."""
    gone = delete(WebSession).where(WebSession.account_id == account_id)
    db.execute(gone if but is None else gone.where(WebSession.token_hash != but))


def drop_expired(db: Session, *, now: datetime, idle: timedelta) -> None:
    """Forget sign-ins that have ended, by their days or for want of use."""
    ended = or_(WebSession.expires_at <= now, WebSession.used_at <= now - idle)
    db.execute(delete(WebSession).where(ended))


def setup_link(db: Session, *, token_hash: str, now: datetime) -> SetupLink | None:
    """Give the password link of a token, while it works."""
    link = db.scalar(select(SetupLink).where(SetupLink.token_hash == token_hash))
    if link is None or (link.expires_at is not None and link.expires_at <= now):
        return None
    return link


def drop_setup_links(db: Session, *, firm_id: int, account_id: int | None) -> None:
    """Forget the password links of an account, or those that make a firm's first one."""
    whose = SetupLink.account_id == account_id if account_id else SetupLink.account_id.is_(None)
    db.execute(delete(SetupLink).where(SetupLink.firm_id == firm_id, whose))


def firm_keys(db: Session, *, firm_id: int) -> list[FirmKey]:
    """Give the firm's keys in use."""
    found = select(FirmKey).where(FirmKey.firm_id == firm_id, FirmKey.revoked_at.is_(None))
    return list(db.scalars(found.order_by(FirmKey.id)))


def firm_key(db: Session, *, key_hash: str) -> FirmKey | None:
    """Give the key in use that this hash belongs to."""
    return db.scalar(
        select(FirmKey).where(FirmKey.key_hash == key_hash, FirmKey.revoked_at.is_(None))
    )


def firm_key_of(db: Session, *, firm_id: int, key_id: int) -> FirmKey | None:
    """Give a firm's key in use by its number."""
    return db.scalar(
        select(FirmKey).where(
            FirmKey.id == key_id, FirmKey.firm_id == firm_id, FirmKey.revoked_at.is_(None)
        )
    )


def trail_of(db: Session, *, firm_id: int, before_id: int | None, limit: int) -> list[TrailEntry]:
    """Give lines of the audit trail, the newest first."""
    found = select(TrailEntry).where(TrailEntry.firm_id == firm_id)
    if before_id is not None:
        found = found.where(TrailEntry.id < before_id)
    return list(db.scalars(found.order_by(TrailEntry.id.desc()).limit(limit)))


def lock_firm(db: Session, firm_id: int) -> None:
    """Have nobody else lock this firm until the transaction ends.

    Whoever only adds what belongs to it, as each line of its trail, is let by: two that had added
    such a line and then locked it would else wait for each other.
    """
    db.execute(select(Firm.id).where(Firm.id == firm_id).with_for_update(key_share=True))


def lines_since(
    db: Session, *, firm_id: int, whats: Sequence[str], since: datetime
) -> list[TrailEntry]:
    """Give the lines of these deeds since a moment."""
    found = select(TrailEntry).where(
        TrailEntry.firm_id == firm_id, TrailEntry.at >= since, TrailEntry.what.in_(whats)
    )
    return list(db.scalars(found.order_by(TrailEntry.id)))


def drop_lines(db: Session, *, whats: Sequence[str], before: datetime) -> None:
    """Forget lines of these deeds, of all firms, from before a moment."""
    db.execute(delete(TrailEntry).where(TrailEntry.what.in_(whats), TrailEntry.at < before))


def latest_times(
    db: Session, *, firm_id: int, who: str, whats: Sequence[str], most: int
) -> list[datetime]:
    """Give when somebody did one of these deeds last, the latest first."""
    found = select(TrailEntry.at).where(
        TrailEntry.firm_id == firm_id, TrailEntry.who == who, TrailEntry.what.in_(whats)
    )
    return list(db.scalars(found.order_by(TrailEntry.at.desc(), TrailEntry.id.desc()).limit(most)))


def count_lines(
    db: Session,
    *,
    firm_id: int,
    who: str,
    whats: Sequence[str],
    after: datetime | None,
) -> int:
    """Sum what these lines of somebody count, after a moment."""
    found = select(func.coalesce(func.sum(TrailEntry.count), 0)).where(
        TrailEntry.firm_id == firm_id, TrailEntry.who == who, TrailEntry.what.in_(whats)
    )
    if after is not None:
        found = found.where(TrailEntry.at > after)
    return int(db.scalar(found) or 0)


def customer_links(db: Session, *, site_id: int) -> list[CustomerLink]:
    """Give the links to a site that were not withdrawn, the newest first."""
    found = select(CustomerLink).where(
        CustomerLink.site_id == site_id, CustomerLink.withdrawn_at.is_(None)
    )
    return list(db.scalars(found.order_by(CustomerLink.id.desc())))


def customer_link_of(db: Session, *, site_id: int, link_id: int) -> CustomerLink | None:
    """Give a link to a site by its number."""
    return db.scalar(
        select(CustomerLink).where(CustomerLink.id == link_id, CustomerLink.site_id == site_id)
    )


def site_of_link(db: Session, *, link_id: int, now: datetime) -> tuple[CustomerLink, Site] | None:
    """Give the site that a customer's link opens, while it does."""
    found = db.execute(
        select(CustomerLink, Site)
        .join(Site, Site.id == CustomerLink.site_id)
        .where(
            CustomerLink.id == link_id,
            CustomerLink.withdrawn_at.is_(None),
            CustomerLink.expires_at > now,
            Site.deleted_at.is_(None),
        )
    ).one_or_none()
    return (found[0], found[1]) if found else None
