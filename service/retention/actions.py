"""Rolling old days up and removing what is older still, each day and each file by itself.

A day is looked at again in the transaction that rewrites it, so it does not matter who else does
the same, or when somebody ends: each day is as it was, or done.
"""

import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import partial

from sqlalchemy.orm import Session

from analysis.days import local_date, local_midnight_s
from analysis.units import SECONDS_PER_DAY
from service.clock import Clock
from service.db.engine import BYTES_LOCK, Database, one_at_a_time, overwrite_freed
from service.db.models import Site
from service.ingest.files import RawStore
from service.ingest.queries import hashes_referred_to
from service.ingest.rolled import rolled_bytes
from service.retention import queries
from service.retention.queries import Amount
from service.settings import Settings
from service.sites import queries as site_queries

LOG = logging.getLogger("suntally.retention")

# So many days of the oldest are tried, to say what rolling up will free.
_TRIED = 20
# No pass holds a longer list in memory; the next one goes on.
_MOST = 100_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Before when rows are rolled up, removed, and raw files removed; None is never."""

    means_before: date | None
    gone_before: date | None
    files_before: datetime | None

    @property
    def any(self) -> bool:
        """Whether anything is to become of old data."""
        return any((self.means_before, self.gone_before, self.files_before))


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What is due: days to roll up, days to remove, files to remove; `frees` in bytes."""

    means: Amount
    gone: Amount
    files: Amount
    frees: int


def limits_of(settings: Settings, *, now: datetime) -> Limits:
    """Give the limits at a moment."""

    def before(years: int | None) -> date | None:
        return None if years is None else _years_before(now.date(), years)

    files = before(settings.keep_files_years)
    return Limits(
        means_before=before(settings.keep_full_years),
        gone_before=before(settings.keep_samples_years),
        files_before=None
        if files is None
        else datetime(files.year, files.month, files.day, tzinfo=UTC),
    )


def _years_before(day: date, years: int) -> date:
    try:
        return day.replace(year=day.year - years)
    except ValueError:  # the 29th of February
        return day.replace(year=day.year - years, day=28)


def plan(db: Session, limits: Limits) -> Plan:
    """Say what is due and about how much it frees; nothing is changed."""
    from analysis.assess import METHOD

    gone = means = files = Amount()
    if limits.gone_before is not None:
        gone = queries.amount_gone(db, before=limits.gone_before, method=METHOD)
    if limits.means_before is not None:
        means = queries.amount_of_means(
            db, before=limits.means_before, gone_before=limits.gone_before, method=METHOD
        )
    if limits.files_before is not None:
        files = queries.amount_of_files(db, before=limits.files_before)
    left = _left_frac(db, limits) if means.count else 1.0
    frees = gone.size_bytes + files.size_bytes + round(means.size_bytes * (1.0 - left))
    return Plan(means=means, gone=gone, files=files, frees=frees)


def _left_frac(db: Session, limits: Limits) -> float:
    """Try some days: which share of their bytes the means with their extremes take."""
    from analysis.assess import METHOD

    due = queries.days_due(
        db, means_before=limits.means_before, gone_before=None, method=METHOD, most=_TRIED
    )
    before = after = 0
    for site_id, day in due:
        site, block = db.get(Site, site_id), queries.block_of(db, site_id=site_id, day=day)
        if site is None or block is None:
            continue
        before += len(block.data) + queries.layer_bytes(db, site_id=site_id, day=day)
        means, extremes, _ = _rolled(site, block.data)
        after += len(means) + len(extremes)
    return min(after / before, 1.0) if before else 1.0


def _rolled(site: Site, data: bytes) -> tuple[bytes, bytes, int]:
    return rolled_bytes(data, stamp="start" if site.stamp == "start" else "end")


@dataclass(slots=True, kw_only=True)
class Pass:
    """One pass over everything that is due, a few days and files at a time."""

    database: Database
    raw: RawStore
    clock: Clock
    limits: Limits
    _days: list[tuple[int, date]]
    _files: list[tuple[int, str]]
    done: int = 0
    failed: int = 0

    @classmethod
    def begun(cls, database: Database, *, raw: RawStore, clock: Clock, limits: Limits) -> "Pass":
        """See what is due."""
        from analysis.assess import METHOD

        with database.reading() as db:
            days = queries.days_due(
                db,
                means_before=limits.means_before,
                gone_before=limits.gone_before,
                method=METHOD,
                most=_MOST,
            )
            files = (
                queries.files_due(db, before=limits.files_before, most=_MOST)
                if limits.files_before is not None
                else []
            )
        days.reverse()
        files.reverse()
        return cls(database=database, raw=raw, clock=clock, limits=limits, _days=days, _files=files)

    @property
    def left(self) -> int:
        """How many days and files are still to be looked at."""
        return len(self._days) + len(self._files)

    def piece(self, most: int = 20) -> bool:
        """Do some; False where nothing is left. What fails is left for the next pass."""
        for _ in range(most):
            if self._days:
                site_id, day = self._days.pop()
                self._tried(f"site {site_id}, {day}", partial(self._day, site_id, day))
            elif self._files:
                upload_id, sha256 = self._files.pop()
                self._tried(f"upload {upload_id}", partial(self._file, upload_id, sha256))
        return self.left > 0

    def _tried(self, what: str, work: Callable[[], bool]) -> None:
        try:
            self.done += work()
        except Exception:
            self.failed += 1
            LOG.exception("%s could not be rolled up or removed; it stays as it is", what)

    def _day(self, site_id: int, day: date) -> bool:
        from analysis.assess import METHOD

        limits, now = self.limits, self.clock.now()
        with self.database.session() as db:
            site = site_queries.locked_site(db, site_id)
            due = site is not None and queries.is_due(
                db,
                site_id=site_id,
                day=day,
                means_before=limits.means_before,
                gone_before=limits.gone_before,
                method=METHOD,
            )
            block = queries.block_of(db, site_id=site_id, day=day) if due else None
            if site is None or block is None:
                return False
            overwrite_freed(db)
            if limits.gone_before is not None and day < limits.gone_before:
                queries.remove(db, block=block, now=now)
            else:
                means, extremes, rows = _rolled(site, block.data)
                queries.roll(db, block=block, data=means, rows=rows, extremes=extremes, now=now)
            days = local_days_of(day, timezone=site.timezone)
            queries.hold_rows(db, site_id=site_id, days=days)
        return True

    def _file(self, upload_id: int, sha256: str) -> bool:
        assert self.limits.files_before is not None
        with self.database.session() as db:
            one_at_a_time(db, BYTES_LOCK)
            noted = queries.note_bytes_gone(
                db, upload_id=upload_id, before=self.limits.files_before, now=self.clock.now()
            )
            db.flush()
            # Before the commit: whoever dies here leaves a note to be made, not a file to be found.
            if noted and not hashes_referred_to(db, [sha256]):
                self.raw.drop(sha256)
        return noted


def local_days_of(day: date, *, timezone: str) -> set[date]:
    """Give the local days that a UTC day touches."""
    start_s = local_midnight_s(day, "UTC")
    return {local_date(start_s + shift, timezone) for shift in (0, int(SECONDS_PER_DAY) - 1)}
