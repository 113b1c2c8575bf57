"""All SQL about firms, accounts and sign-ins. Nothing here commits."""

from datetime import datetime

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from service.db.models import Account, Firm, SetupLink, WebSession


def first_firm(db: Session) -> Firm | None:
    """Give the firm that the service was set up for."""
    return db.scalar(select(Firm).order_by(Firm.id).limit(1))


def count_accounts(db: Session) -> int:
    """Give how many accounts there are."""
    return int(db.scalar(select(func.count(Account.id))) or 0)


def account_by_login(db: Session, login: str) -> Account | None:
    """Give an account by the name it signs in with."""
    return db.scalar(select(Account).where(Account.login == login))


def account_of_session(db: Session, *, token_hash: str, now: datetime) -> Account | None:
    """Give whose browser this is, while the sign-in lasts."""
    return db.scalar(
        select(Account)
        .join(WebSession, WebSession.account_id == Account.id)
        .where(WebSession.token_hash == token_hash, WebSession.expires_at > now)
    )


def drop_session(db: Session, *, token_hash: str) -> None:
    """Forget a signed-in browser."""
    db.execute(delete(WebSession).where(WebSession.token_hash == token_hash))


def drop_sessions_of(db: Session, *, account_id: int) -> None:
    """Forget all browsers of an account."""
    db.execute(delete(WebSession).where(WebSession.account_id == account_id))


def drop_expired(db: Session, *, now: datetime) -> None:
    """Forget sign-ins that have ended."""
    db.execute(delete(WebSession).where(WebSession.expires_at <= now))


def setup_link(db: Session, *, token_hash: str) -> SetupLink | None:
    """Give the first-password link of a token."""
    return db.scalar(select(SetupLink).where(SetupLink.token_hash == token_hash))


def drop_setup_links(db: Session) -> None:
    """Forget all first-password links."""
    db.execute(delete(SetupLink))
