"""What every route needs at hand: settings, database, clock, raw files, and who calls."""

from datetime import datetime
from typing import Annotated

from fastapi import Depends, Path, Request

from service.clock import Clock
from service.db.engine import Database
from service.ingest.files import RawStore
from service.settings import Settings


class Context:
    """The parts of the running service, taken from the application."""

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


async def _context(request: Request) -> Context:
    return Context(request)


Here = Annotated[Context, Depends(_context)]

# What a row's number can be in every database.
RowId = Annotated[int, Path(ge=1, le=2**31 - 1)]
