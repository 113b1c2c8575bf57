"""Customers' links: one site, read only, until a date or until withdrawn."""

from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from service.accounts import queries
from service.accounts.signing import content_of, signed
from service.db.models import CustomerLink, Site
from service.errors import InvalidError, NotFoundError

LONGEST_DAYS = 3 * 366
_PURPOSE = "customer"


def make_link(
    db: Session, *, site: Site, label: str, days: int, made_by: str, now: datetime
) -> tuple[CustomerLink, str]:
    """Make a link for a customer; gives its row and its token.

    Raises
    ------
    InvalidError : it would last no day, or longer than three years
    """
    if not 1 <= days <= LONGEST_DAYS:
        raise InvalidError(f"A link lasts 1 to {LONGEST_DAYS} days.", field="days")
    link = CustomerLink(
        site_id=site.id,
        label=label.strip()[:200] or "customer",
        made_by=made_by,
        created_at=now,
        expires_at=now + timedelta(days=days),
    )
    db.add(link)
    db.flush()
    return link, token_of(db, link)


def token_of(db: Session, link: CustomerLink) -> str:
    """Give the token of a link; it can be shown again."""
    return signed(db, [link.id], purpose=_PURPOSE)


def withdraw(db: Session, *, site: Site, link_id: int, now: datetime) -> None:
    """Make a link useless from now on."""
    link = queries.customer_link_of(db, site_id=site.id, link_id=link_id)
    if link is None:
        raise NotFoundError("There is no such link at this site.")
    link.withdrawn_at = link.withdrawn_at or now


def site_of_token(db: Session, token: str, *, now: datetime) -> tuple[CustomerLink, Site]:
    """Give the site that a customer's token opens.

    Raises
    ------
    NotFoundError : it was made up, has ended or was withdrawn; which, is not said
    """
    content = content_of(db, token, purpose=_PURPOSE)
    number = content[0] if content else None
    found = queries.site_of_link(db, link_id=number, now=now) if isinstance(number, int) else None
    if found is None:
        raise NotFoundError(
            "This link has ended or was withdrawn; ask your installer for a new one."
        )
    return found
