"""The single place that answers who is calling and which sites they may see.

Somebody else's site answers like one that does not exist.
"""

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

from fastapi import Request
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from service.accounts import queries
from service.accounts.rights import RIGHTS, Right
from service.accounts.secrets import hashed
from service.afterwards import after_the_answer
from service.db.engine import Database, only_reads
from service.db.models import Account, Site
from service.errors import NotAllowedError, NotFoundError, SignedOutError
from service.settings import Settings
from service.sites import queries as site_queries

LOG = logging.getLogger("suntally.web")

COOKIE = "suntally_session"
# A page is not to write with each request.
_NOTED_EVERY = timedelta(minutes=5)
OWN_MACHINE = "this machine"


def cookie_of(settings: Settings) -> str:
    """Name the cookie of a sign-in; by https no other host or path can set one of this name."""
    return f"__Host-{COOKIE}" if settings.secure_cookies else COOKIE


@dataclass(frozen=True, slots=True, kw_only=True)
class Caller:
    """Who is calling: a firm's person, a key of the firm, or a gateway that sees one site.

    Attributes
    ----------
    who : as the audit trail names them
    role : see `service.accounts.rights`
    """

    firm_id: int
    role: str
    who: str
    account_id: int | None = None
    only_site_id: int | None = None

    @property
    def is_gateway(self) -> bool:
        """Whether a gateway's key was shown."""
        return self.only_site_id is not None

    @property
    def is_own_machine(self) -> bool:
        """Whether nobody has to sign in here yet, so that only this machine's user can call."""
        return self.who == OWN_MACHINE

    def may(self, right: Right) -> bool:
        """Tell whether the role has a right."""
        return right in RIGHTS[self.role]


def caller_of(db: Session, request: Request, *, now: datetime, may: Right) -> Caller:
    """Tell who sent a request: by key, by cookie, or on loopback as the machine's own user.

    Raises
    ------
    SignedOutError : a wrong key, or nobody signed in where that is needed
    NotAllowedError : the caller's role lacks the right
    """
    caller = _caller(db, request, now=now)
    if not caller.may(may):
        raise NotAllowedError(
            f"The role “{caller.role}” may not do this; ask an owner of the firm's account."
        )
    return caller


def _caller(db: Session, request: Request, *, now: datetime) -> Caller:
    if "authorization" in request.headers:
        return _by_key(db, shown_key(request))
    settings: Settings = request.app.state.settings
    if not settings.reachable and not queries.count_accounts(db):
        firm = queries.first_firm(db)
        if firm is None:
            raise SignedOutError("The service has not been set up yet; start it once.")
        return Caller(firm_id=firm.id, role="owner", who=OWN_MACHINE)
    token_hash = shown_session(request)
    account = _signed_in(db, request, token_hash=token_hash, now=now) if token_hash else None
    if account is None:
        raise SignedOutError("Nobody is signed in; sign in and try again.")
    return Caller(
        firm_id=account.firm_id, role=account.role, who=account.login, account_id=account.id
    )


def _signed_in(db: Session, request: Request, *, token_hash: str, now: datetime) -> Account | None:
    """Give whose browser this is, and note now and then that it is in use."""
    settings: Settings = request.app.state.settings
    found = queries.session_in_use(db, token_hash=token_hash, now=now, idle=settings.session_idle)
    if found is None:
        return None
    account, used_at = found
    if now - used_at < _NOTED_EVERY:
        return account
    if not only_reads(db):
        queries.note_use(db, token_hash=token_hash, now=now)
        return account
    database: Database = request.app.state.database
    # Whoever opens a page does not wait until a large log is written.
    after_the_answer(request, partial(_note_use, database, token_hash=token_hash, now=now))
    return account


def _note_use(database: Database, *, token_hash: str, now: datetime) -> None:
    try:
        with database.session() as db:
            queries.note_use(db, token_hash=token_hash, now=now)
    except SQLAlchemyError as error:  # the next page notes it
        LOG.warning("the use of a sign-in was not noted: %s", str(error).splitlines()[0])


def shown_session(request: Request) -> str | None:
    """Give the hash of the sign-in that a browser shows, good or not; None without any."""
    token = request.cookies.get(cookie_of(request.app.state.settings))
    return hashed(token) if token else None


def shown_key(request: Request) -> str | None:
    """Give the hash of the key that a request shows, known or not; None without any."""
    scheme, _, secret = request.headers.get("authorization", "").partition(" ")
    return hashed(secret.strip()) if scheme.lower() == "bearer" and secret.strip() else None


def unknown_key() -> SignedOutError:
    """Say that a key opens nothing."""
    return SignedOutError(
        "This key is not known (any more). Send “Authorization: Bearer KEY” with a gateway key "
        "from the site's page or a key of the firm from the settings."
    )


def unknown_site(slug: str) -> NotFoundError:
    """Say that there is no such site for whoever asks."""
    return NotFoundError(f"There is no site “{slug}”.")


def _by_key(db: Session, key_hash: str | None) -> Caller:
    if key_hash is not None:
        site = site_queries.site_of_key(db, key_hash=key_hash)
        if site is not None:
            return Caller(
                firm_id=site.firm_id, role="gateway", who="gateway key", only_site_id=site.id
            )
        key = queries.firm_key(db, key_hash=key_hash)
        if key is not None:
            return Caller(firm_id=key.firm_id, role=key.role, who=f"key {key.label}")
    raise unknown_key()


def person_of(db: Session, request: Request, *, now: datetime, may: Right) -> Caller:
    """As `caller_of`, but gateways' keys open nothing here."""
    caller = caller_of(db, request, now=now, may=may)
    if caller.is_gateway:
        raise NotAllowedError("A gateway's key sends and reads its site's rows only.")
    return caller


def site_for(db: Session, caller: Caller, slug: str) -> Site:
    """Give a site that the caller may see.

    Raises
    ------
    NotFoundError : there is none of this name for the caller
    """
    site = site_queries.site_by_slug(db, firm_id=caller.firm_id, slug=slug)
    if site is None or (caller.is_gateway and caller.only_site_id != site.id):
        raise unknown_site(slug)
    return site
