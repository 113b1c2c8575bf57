"""What every route needs at hand: settings, database, clock, raw files, and who calls."""

from datetime import datetime
from typing import Annotated

from fastapi import Depends, Path, Request
from sqlalchemy.orm import Session

from service.accounts import trail
from service.accounts.access import Caller, caller_of, person_of, site_for
from service.accounts.rights import Right
from service.clock import Clock
from service.db.engine import Database
from service.db.models import Site
from service.ingest.files import RawStore
from service.settings import Settings


class Context:
    """The parts of the running service, taken from the application, and who calls.

    Whoever asks for the caller in a transaction that writes leaves a line in the audit trail.
    """

    def __init__(self, request: Request) -> None:
        state = request.app.state
        self.request = request
        self.settings: Settings = state.settings
        self.database: Database = state.database
        self.clock: Clock = state.clock
        self.raw: RawStore = state.raw

    def now(self) -> datetime:
        """Give the present moment."""
        return self.clock.now()

    def address(self) -> str:
        """Give the address of the network that the request came from."""
        client = self.request.client
        return client.host if client else ""

    def person(self, db: Session, *, may: Right) -> Caller:
        """Give the person or the firm's key that calls (see `access.person_of`)."""
        caller = person_of(db, self.request, now=self.now(), may=may)
        trail.note(db, self.request, caller, now=self.now())
        return caller

    def caller(self, db: Session, *, may: Right) -> Caller:
        """Give who calls, gateways included (see `access.caller_of`)."""
        caller = caller_of(db, self.request, now=self.now(), may=may)
        trail.note(db, self.request, caller, now=self.now())
        return caller

    def site(self, db: Session, slug: str, *, may: Right) -> Site:
        """Give a site of the person that calls."""
        return site_for(db, self.person(db, may=may), slug)

    def site_of(self, db: Session, caller: Caller, slug: str) -> Site:
        """Give a site of a caller who is known already."""
        return site_for(db, caller, slug)

    def any_site(self, db: Session, slug: str, *, may: Right) -> Site:
        """Give a site of whoever calls, gateways included."""
        return site_for(db, self.caller(db, may=may), slug)


async def _context(request: Request) -> Context:
    return Context(request)


Here = Annotated[Context, Depends(_context)]

# What a row's number can be in every database.
RowId = Annotated[int, Path(ge=1, le=2**31 - 1)]
