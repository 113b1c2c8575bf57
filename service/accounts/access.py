"""The single place that answers who is calling and which sites they may see.

Somebody else's site answers like one that does not exist.
"""

from dataclasses import dataclass
from datetime import datetime

from fastapi import Request
from sqlalchemy.orm import Session

from service.accounts import queries
from service.accounts.secrets import hashed
from service.db.models import Site
from service.errors import NotFoundError, SignedOutError
from service.settings import Settings
from service.sites import queries as site_queries

COOKIE = "suntally_session"


@dataclass(frozen=True, slots=True, kw_only=True)
class Caller:
    """Who is calling: a firm's person, or a gateway that sees one site."""

    firm_id: int
    account_id: int | None = None
    only_site_id: int | None = None

    @property
    def is_gateway(self) -> bool:
        """Whether a gateway's key was shown."""
        return self.only_site_id is not None


def caller_of(db: Session, request: Request, *, now: datetime) -> Caller:
    """Tell who sent a request: by key, by cookie, or on loopback as the machine's own user.

    Raises
    ------
    SignedOutError : a wrong key, or nobody signed in where that is needed
    """
    settings: Settings = request.app.state.settings
    authorization = request.headers.get("authorization")
    if authorization is not None:
        return _gateway(db, authorization)
    if not settings.sign_in_needed:
        firm = queries.first_firm(db)
        if firm is None:
            raise SignedOutError("The service has not been set up yet; start it once.")
        return Caller(firm_id=firm.id)
    token = request.cookies.get(COOKIE)
    account = queries.account_of_session(db, token_hash=hashed(token), now=now) if token else None
    if account is None:
        raise SignedOutError("Nobody is signed in; sign in and try again.")
    return Caller(firm_id=account.firm_id, account_id=account.id)


def _gateway(db: Session, authorization: str) -> Caller:
    scheme, _, secret = authorization.partition(" ")
    site = None
    if scheme.lower() == "bearer" and secret.strip():
        site = site_queries.site_of_key(db, key_hash=hashed(secret.strip()))
    if site is None:
        raise SignedOutError(
            "This key is not known (any more). Send “Authorization: Bearer KEY” with a key made "
            "on the site's page."
        )
    return Caller(firm_id=site.firm_id, only_site_id=site.id)


def person_of(db: Session, request: Request, *, now: datetime) -> Caller:
    """As `caller_of`, but gateways' keys open nothing here."""
    caller = caller_of(db, request, now=now)
    if caller.is_gateway:
        raise SignedOutError("A gateway's key sends and reads its site's rows only.")
    return caller


def site_for(db: Session, caller: Caller, slug: str) -> Site:
    """Give a site that the caller may see.

    Raises
    ------
    NotFoundError : there is none of this name for the caller
    """
    site = site_queries.site_by_slug(db, firm_id=caller.firm_id, slug=slug)
    if site is None or (caller.is_gateway and caller.only_site_id != site.id):
        raise NotFoundError(f"There is no site “{slug}”.")
    return site
