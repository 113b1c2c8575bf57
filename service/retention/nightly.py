"""Each night's pass over what is old: a little whenever the worker has nothing else to do."""

import logging
from datetime import date, datetime

from service.clock import Clock
from service.db.engine import Database
from service.ingest.files import RawStore
from service.retention.actions import Pass, limits_of
from service.settings import Settings

LOG = logging.getLogger("suntally.retention")

# After the day that ends in Europe, before the morning's rows.
_FROM_HOUR = 1
_SAID_EVERY = 1000


class Nightly:
    """Goes once a night over everything that is due; one for each worker, and they may be many."""

    def __init__(
        self, *, settings: Settings, database: Database, raw: RawStore, clock: Clock
    ) -> None:
        self._settings = settings
        self._database = database
        self._raw = raw
        self._clock = clock
        self._at_work: Pass | None = None
        self._done_on: date | None = None

    def piece(self, now: datetime) -> bool:
        """Do a little where it is time; False where there is nothing to do till tomorrow."""
        if self._at_work is None:
            limits = limits_of(self._settings, now=now)
            if not limits.any or self._done_on == now.date() or now.hour < _FROM_HOUR:
                return False
            self._at_work = Pass.begun(
                self._database, raw=self._raw, clock=self._clock, limits=limits
            )
        one, before = self._at_work, self._at_work.done
        more = one.piece()
        if one.done // _SAID_EVERY > before // _SAID_EVERY:
            LOG.info("%d old days and files are done, %d are left", one.done, one.left)
        if not more:
            if one.done or one.failed:
                LOG.info("old days and files: %d done, %d failed", one.done, one.failed)
            self._at_work, self._done_on = None, now.date()
        return more
