"""The timetable: every two minutes, in UTC, what mail asks for.

It runs inside a worker process. Several workers may run it: what must happen once is claimed, so
it does not matter who comes first, or whether one was away on Monday morning.
"""

import logging
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from service.clock import Clock
from service.db.engine import Database
from service.digests.actions import UrgentWatch, compose_due
from service.jobs.run import holder_name
from service.letters.actions import write_chosen
from service.mail.send import send_due
from service.settings import Settings
from service.webhooks.actions import send_due as tell_programs

if TYPE_CHECKING:
    from apscheduler.schedulers.background import BackgroundScheduler

LOG = logging.getLogger("suntally.schedule")

TICK_S = 120
WEBHOOKS_S = 20


@dataclass(slots=True, kw_only=True)
class Timetable:
    """What is done at each tick."""

    settings: Settings
    database: Database
    clock: Clock
    holder: str = field(default_factory=holder_name)
    watch: UrgentWatch = field(default_factory=UrgentWatch)

    def tick(self) -> None:
        """Compose digests that are due, mail urgent findings, write letters, send what waits."""
        for step in (self.digests, self.urgent, self.letters, self.send):
            self._guarded(step)

    def digests(self) -> int:
        """Compose the digests that are due."""
        return compose_due(
            self.database, settings=self.settings, clock=self.clock, holder=self.holder
        )

    def urgent(self) -> int:
        """Lay out mails about urgent findings; take back those that wait for one that has ended."""
        self.watch.withdraw_ended(self.database, clock=self.clock, holder=self.holder)
        return self.watch.mail_new(self.database, settings=self.settings, clock=self.clock)

    def letters(self) -> int:
        """Write the yearly letters that somebody chose."""
        return write_chosen(self.database, settings=self.settings, clock=self.clock)

    def send(self) -> int:
        """Send what waits."""
        return send_due(self.database, settings=self.settings, clock=self.clock, holder=self.holder)

    def webhooks(self) -> None:
        """Send what waits for other programs; no reader of mail waits for them."""
        self._guarded(
            lambda: tell_programs(
                self.database, settings=self.settings, clock=self.clock, holder=self.holder
            )
        )

    def _guarded(self, step: Callable[[], int]) -> None:
        try:
            step()
        except Exception:
            # The next tick tries again; the other steps are not to suffer.
            LOG.exception("a step of the timetable failed")


def build_scheduler(settings: Settings, database: Database, clock: Clock) -> "BackgroundScheduler":
    """Give the scheduler, not yet started; its first tick comes at once."""
    from apscheduler.schedulers.background import BackgroundScheduler
    from apscheduler.triggers.interval import IntervalTrigger

    timetable = Timetable(settings=settings, database=database, clock=clock)
    scheduler = BackgroundScheduler(timezone=UTC)
    scheduler.add_job(
        timetable.tick,
        IntervalTrigger(seconds=TICK_S, timezone=UTC),
        id="mail",
        next_run_time=datetime.now(UTC),
        coalesce=True,
        max_instances=1,
        misfire_grace_time=None,
    )
    scheduler.add_job(
        timetable.webhooks,
        IntervalTrigger(seconds=WEBHOOKS_S, timezone=UTC),
        id="webhooks",
        next_run_time=datetime.now(UTC),
        coalesce=True,
        max_instances=1,
        misfire_grace_time=None,
    )
    return scheduler
