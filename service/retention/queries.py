"""All SQL about what is rolled up or removed for its age. Nothing here commits."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, bindparam, exists, func, or_, select, update
from sqlalchemy.orm import Session, defer

from service.assessments.row_queries import whole_rows
from service.db.models import (
    DayBlock,
    DayLayer,
    DayMark,
    DayRow,
    RolledDay,
    Site,
    SiteReport,
    Upload,
)

# As many rows as five-minute means can have; a day with fewer is short enough as it is.
MOST_ROWS = 300
# The analysis of a day looks at its neighbours, and local days touch two UTC days.
_AROUND = timedelta(days=2)
_AT_ONCE = 400
# Up to where days of sites are closed: one look into an index for each site.
CLOSED_UNTIL = select(
    Site.id,
    select(func.max(RolledDay.day))
    .where(RolledDay.site_id == Site.id)
    .scalar_subquery()
    .label("closed_until"),
).where(Site.id.in_(bindparam("sites", expanding=True)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """How much something is: days or files, their rows, and their bytes as stored."""

    count: int = 0
    rows: int = 0
    size_bytes: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Rolled:
    """What became of a site's old days: the last UTC day of means, and the last without rows."""

    means_until: date | None
    gone_until: date | None


def _settled(before: date, method: str, *, site_id: int | None = None) -> Select[int]:
    """Select sites whose old days were looked at by this method, with nothing left to do.

    For one site alone it is not asked again by which methods its days were looked at.
    """
    found = select(Site.id).where(
        Site.deleted_at.is_(None),
        Site.problem.is_(None),
        Site.stamp.is_not(None),
        exists().where(SiteReport.site_id == Site.id, SiteReport.method == method),
        ~exists().where(Upload.site_id == Site.id, Upload.state.in_(("kept", "asking"))),
        ~exists().where(DayMark.site_id == Site.id, DayMark.date <= before + _AROUND),
    )
    if site_id is not None:
        return found.where(Site.id == site_id)
    return found.where(
        ~exists().where(DayRow.site_id == Site.id, DayRow.method != method, DayRow.held.is_(False))
    )


def _due_means(before: date, settled: Select[int]) -> ColumnElement[bool]:
    rolled = exists().where(RolledDay.site_id == DayBlock.site_id, RolledDay.day == DayBlock.day)
    return and_(
        DayBlock.day < before,
        DayBlock.rows > MOST_ROWS,
        ~rolled,
        # Sites are few beside their days: which are settled is asked once for each.
        DayBlock.site_id.in_(settled),
    )


def _due_gone(before: date, settled: Select[int]) -> ColumnElement[bool]:
    return and_(DayBlock.day < before, DayBlock.site_id.in_(settled))


def days_due(
    db: Session, *, means_before: date | None, gone_before: date | None, method: str, most: int
) -> list[tuple[int, date]]:
    """Give sites and UTC days to roll up or remove, the oldest of each site first."""
    wanted = _wanted(means_before, gone_before, method)
    if wanted is None:
        return []
    found = select(DayBlock.site_id, DayBlock.day).where(wanted)
    found = found.order_by(DayBlock.site_id, DayBlock.day).limit(most)
    return [(row.site_id, row.day) for row in db.execute(found)]


def _wanted(
    means_before: date | None,
    gone_before: date | None,
    method: str,
    *,
    site_id: int | None = None,
) -> ColumnElement[bool] | None:
    parts = []
    if means_before is not None:
        settled = _settled(means_before, method, site_id=site_id)
        parts.append(_due_means(means_before, settled))
    if gone_before is not None:
        parts.append(_due_gone(gone_before, _settled(gone_before, method, site_id=site_id)))
    return or_(*parts) if parts else None


def is_due(
    db: Session, *, site_id: int, day: date, means_before: date | None, gone_before: date | None,
    method: str,
) -> bool:  # fmt: skip
    """Tell whether a day is still to be rolled up or removed."""
    wanted = _wanted(means_before, gone_before, method, site_id=site_id)
    if wanted is None:
        return False
    found = select(DayBlock.day).where(DayBlock.site_id == site_id, DayBlock.day == day, wanted)
    return db.scalar(found) is not None


def amount_of_means(db: Session, *, before: date, gone_before: date | None, method: str) -> Amount:
    """Give how much is to be rolled up, without what goes altogether."""
    wanted = _due_means(before, _settled(before, method))
    if gone_before is not None:
        wanted = and_(wanted, DayBlock.day >= gone_before)
    return _amount(db, wanted)


def amount_gone(db: Session, *, before: date, method: str) -> Amount:
    """Give how much is to be removed."""
    return _amount(db, _due_gone(before, _settled(before, method)))


def _amount(db: Session, wanted: ColumnElement[bool]) -> Amount:
    blocks = select(
        func.count(),
        func.coalesce(func.sum(DayBlock.rows), 0),
        func.coalesce(func.sum(func.length(DayBlock.data)), 0),
    ).where(wanted)
    count, rows, size = db.execute(blocks).one()
    layers = select(func.coalesce(func.sum(func.length(DayLayer.data)), 0)).where(
        DayLayer.site_id == DayBlock.site_id, DayLayer.day == DayBlock.day, wanted
    )
    return Amount(count=count, rows=int(rows), size_bytes=int(size) + int(db.scalar(layers) or 0))


def block_of(db: Session, *, site_id: int, day: date) -> DayBlock | None:
    """Give a day's block."""
    return db.get(DayBlock, (site_id, day))


def layer_bytes(db: Session, *, site_id: int, day: date) -> int:
    """Give how many bytes a day's layers take beside its block."""
    found = select(func.coalesce(func.sum(func.length(DayLayer.data)), 0))
    return int(db.scalar(found.where(DayLayer.site_id == site_id, DayLayer.day == day)) or 0)


def roll(
    db: Session, *, block: DayBlock, data: bytes, rows: int, extremes: bytes,
    now: datetime,
) -> None:  # fmt: skip
    """Put means in place of a day's rows; of its layers only stays that they were there."""
    day = RolledDay(
        site_id=block.site_id, day=block.day, kind="means", rows=block.rows,
        extremes=extremes, rolled_at=now,
    )  # fmt: skip
    db.add(day)
    block.data, block.rows = data, rows
    _empty_layers(db, block)


def remove(db: Session, *, block: DayBlock, now: datetime) -> None:
    """Remove a day's rows; that there were some, and how many, stays."""
    rolled = db.get(RolledDay, (block.site_id, block.day))
    if rolled is None:
        rolled = RolledDay(site_id=block.site_id, day=block.day, rows=block.rows)
        db.add(rolled)
    rolled.kind, rolled.extremes, rolled.rolled_at = "gone", None, now
    _empty_layers(db, block)
    db.delete(block)


def _empty_layers(db: Session, block: DayBlock) -> None:
    own = (DayLayer.site_id == block.site_id, DayLayer.day == block.day)
    db.execute(update(DayLayer).where(*own).values(data=None))


def hold_rows(db: Session, *, site_id: int, days: Iterable[date]) -> None:
    """Have what these local days showed stand as it is from here on."""
    _set_held(db, site_id=site_id, days=days, held=True)


def free_rows(db: Session, *, site_id: int, days: Iterable[date]) -> None:
    """Have these local days looked at again, since they have rows that they had not."""
    _set_held(db, site_id=site_id, days=days, held=False)


def _set_held(db: Session, *, site_id: int, days: Iterable[date], held: bool) -> None:
    own = (DayRow.site_id == site_id, DayRow.held.is_(not held))
    for part in _parts(sorted(days)):
        db.execute(update(DayRow).where(*own, DayRow.date.in_(part)).values(held=held))


def held_days(db: Session, *, site_id: int, days: Iterable[date]) -> set[date]:
    """Give which of these local days' figures stand."""
    held: set[date] = set()
    for part in _parts(sorted(days)):
        own = (DayRow.site_id == site_id, DayRow.date.in_(part))
        held.update(db.scalars(select(DayRow.date).where(*own, DayRow.held)))
    return held


def held_rows(db: Session, *, site_id: int, days: Iterable[date]) -> dict[date, dict[str, Any]]:
    """Give the rows of those of these local days whose figures stand and can be read."""
    rows: dict[date, dict[str, Any]] = {}
    for part in _parts(sorted(days)):
        own = (DayRow.site_id == site_id, DayRow.date.in_(part))
        held = select(DayRow.date, DayRow.row, DayRow.numbers).where(*own, DayRow.held)
        found = db.execute(held).all()
        whole = whole_rows(db, [(row, numbers) for _, row, numbers in found])
        days_of = [day for day, _, _ in found]
        rows |= {day: row for day, row in zip(days_of, whole, strict=True) if row is not None}
    return rows


def closed_until(db: Session, site_id: int) -> date | None:
    """Give the last UTC day of a site that is rolled up or removed; None where none is."""
    row = db.connection().execute(CLOSED_UNTIL, {"sites": [site_id]}).one()
    until: date | None = row.closed_until
    return until


def closed_days(db: Session, *, site_id: int, days: Iterable[date]) -> set[date]:
    """Give which of these UTC days are rolled up or removed."""
    closed: set[date] = set()
    for part in _parts(sorted(days)):
        found = select(RolledDay.day).where(RolledDay.site_id == site_id, RolledDay.day.in_(part))
        closed.update(db.scalars(found))
    return closed


def uploads_of_closed_days(db: Session, *, site_id: int) -> set[int]:
    """Give a site's uploads that say something of days that are rolled up or removed."""
    found = (
        select(DayLayer.upload_id)
        .join(RolledDay, and_(RolledDay.site_id == DayLayer.site_id, RolledDay.day == DayLayer.day))
        .where(DayLayer.site_id == site_id)
        .distinct()
    )
    return set(db.scalars(found))


def gone_days(db: Session, *, site_id: int, days: Iterable[date]) -> set[date]:
    """Give which of these UTC days are removed."""
    gone: set[date] = set()
    for part in _parts(sorted(days)):
        own = (RolledDay.site_id == site_id, RolledDay.day.in_(part))
        gone.update(db.scalars(select(RolledDay.day).where(*own, RolledDay.kind == "gone")))
    return gone


def has_gone(db: Session, site_id: int) -> bool:
    """Tell whether some days of a site were removed."""
    found = select(RolledDay.day).where(RolledDay.site_id == site_id, RolledDay.kind == "gone")
    return db.scalar(found.limit(1)) is not None


def rolled_of(db: Session, site_id: int) -> Rolled:
    """Give until when a site's rows are rolled up, and until when removed."""
    found = select(RolledDay.kind, func.max(RolledDay.day)).where(RolledDay.site_id == site_id)
    until = {row[0]: row[1] for row in db.execute(found.group_by(RolledDay.kind))}
    return Rolled(means_until=until.get("means"), gone_until=until.get("gone"))


def rolled_counts(db: Session) -> dict[str, int]:
    """Count the days that are rolled up and removed, of all sites, by kind."""
    found = select(RolledDay.kind, func.count()).group_by(RolledDay.kind)
    return {row[0]: row[1] for row in db.execute(found)}


def rolled_days(db: Session, *, site_id: int) -> list[RolledDay]:
    """Give all days that are rolled up or removed, rising, without their extremes."""
    found = select(RolledDay).where(RolledDay.site_id == site_id).order_by(RolledDay.day)
    return list(db.scalars(found.options(defer(RolledDay.extremes))))


def rolled_between(db: Session, *, site_id: int, first: date, last: date) -> list[RolledDay]:
    """Give the days of means of a span, both ends included, rising."""
    found = select(RolledDay).where(
        RolledDay.site_id == site_id,
        RolledDay.kind == "means",
        RolledDay.day >= first,
        RolledDay.day <= last,
    )
    return list(db.scalars(found.order_by(RolledDay.day)))


def files_due(db: Session, *, before: datetime, most: int) -> list[tuple[int, str]]:
    """Give uploads, with their hashes, whose bytes are to be removed, the oldest first."""
    found = select(Upload.id, Upload.sha256).where(_due_files(before)).order_by(Upload.id)
    return [(row.id, row.sha256 or "") for row in db.execute(found.limit(most))]


def amount_of_files(db: Session, *, before: datetime) -> Amount:
    """Give how many raw files are to be removed, and their size as handed in."""
    found = select(func.count(), func.coalesce(func.sum(Upload.size_bytes), 0))
    count, size = db.execute(found.where(_due_files(before))).one()
    return Amount(count=count, size_bytes=int(size))


def _due_files(before: datetime) -> ColumnElement[bool]:
    return and_(
        Upload.state.in_(("stored", "refused", "undone")),
        Upload.received_at < before,
        Upload.sha256.is_not(None),
        Upload.bytes_gone_at.is_(None),
    )


def note_bytes_gone(db: Session, *, upload_id: int, before: datetime, now: datetime) -> bool:
    """Note that an upload's bytes are removed; False where they are not to be any more."""
    found = select(Upload).where(Upload.id == upload_id, _due_files(before)).with_for_update()
    upload = db.scalar(found)
    if upload is None:
        return False
    upload.bytes_gone_at = now
    return True


def _parts(days: Sequence[date]) -> Iterable[Sequence[date]]:
    return (days[first : first + _AT_ONCE] for first in range(0, len(days), _AT_ONCE))
