"""All SQL about uploads, stored rows and marked days. Nothing here commits."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Any

import numpy as np
from sqlalchemy import Select, and_, bindparam, case, delete, exists, func, select
from sqlalchemy.orm import Session

from analysis.blocks import Block, join, part_of, utc_day
from analysis.record import Record, record_from_stamps
from analysis.rollup import Stamp, spread
from service.db.engine import dialect_of, insert_for, insert_into
from service.db.models import (
    ChannelSeen,
    DayBlock,
    DayMark,
    RolledDay,
    Site,
    Upload,
    Visit,
    VisitPhoto,
    WeatherFile,
)
from service.ingest.blocks import Sealed, decode, decode_days
from service.ingest.rolled import rolled_back

# Stamps mark the end or the start of their step, so a span's rows may stand one step outside it.
_LONGEST_STEP_S = 3600
_AT_ONCE = 400
_SITE_WITH_VALUES = (
    select(Site.id)
    .join(DayBlock, DayBlock.site_id == Site.id)
    .where(
        DayBlock.values_hash.in_(bindparam("hashes", expanding=True)),
        Site.id != bindparam("but_site_id"),
        Site.deleted_at.is_(None),
    )
    .order_by(Site.id)
    .limit(1)
)

_COUNTED = select(
    func.sum(Upload.rows_read),
    func.sum(Upload.rows_rejected),
    select(func.sum(DayBlock.rows))
    .where(
        DayBlock.site_id == bindparam("site_id"),
        ~exists().where(RolledDay.site_id == DayBlock.site_id, RolledDay.day == DayBlock.day),
    )
    .scalar_subquery(),
    select(func.sum(RolledDay.rows))
    .where(RolledDay.site_id == bindparam("site_id"))
    .scalar_subquery(),
).where(Upload.site_id == bindparam("site_id"), Upload.state == "stored")
# Beside each day what else its rows are read by: one look into the database for all of it.
_DAYS = (
    select(DayBlock.day, DayBlock.data, Site.stamp, RolledDay.kind, RolledDay.extremes)
    .join(Site, Site.id == DayBlock.site_id)
    .outerjoin(
        RolledDay, and_(RolledDay.site_id == DayBlock.site_id, RolledDay.day == DayBlock.day)
    )
    .where(
        DayBlock.site_id == bindparam("site_id"),
        DayBlock.day.between(bindparam("first"), bindparam("last")),
    )
    .order_by(DayBlock.day)
    .execution_options(as_stored=True)
)
_CHANNELS = select(ChannelSeen.channel).where(ChannelSeen.site_id == bindparam("site_id"))
_LAST_DAY = select(func.max(DayBlock.day)).where(DayBlock.site_id == bindparam("site_id"))


def list_uploads(db: Session, site_id: int, *, limit: int | None = None) -> list[Upload]:
    """Give a site's uploads, the newest first."""
    found = select(Upload).where(Upload.site_id == site_id).order_by(Upload.id.desc())
    return list(db.scalars(found.limit(limit)))


def last_refusals(db: Session, *, firm_id: int) -> dict[int, str | None]:
    """Give the message of each site's newest upload where that was refused or asks something."""
    newest = (
        select(func.max(Upload.id))
        .join(Site, Site.id == Upload.site_id)
        .where(Site.firm_id == firm_id)
        .group_by(Upload.site_id)
    )
    found = select(Upload.site_id, Upload.message).where(
        Upload.id.in_(newest), Upload.state.in_(("refused", "asking"))
    )
    return {row.site_id: row.message for row in db.execute(found)}


def hashes_of(db: Session, *, site_id: int) -> set[str]:
    """Give the raw files that a site's uploads, weather and photos refer to."""
    found = select(Upload.sha256).where(Upload.site_id == site_id, Upload.bytes_gone_at.is_(None))
    weather = select(WeatherFile.sha256).where(WeatherFile.site_id == site_id)
    photos = select(VisitPhoto.sha256).join(Visit).where(Visit.site_id == site_id)
    every = (*db.scalars(found), *db.scalars(weather), *db.scalars(photos))
    return {sha256 for sha256 in every if sha256 is not None}


def upload_of(db: Session, *, site_id: int, upload_id: int) -> Upload | None:
    """Give one upload of a site."""
    found = db.get(Upload, upload_id)
    return found if found is not None and found.site_id == site_id else None


def upload_of_bytes(db: Session, *, site_id: int, sha256: str) -> Upload | None:
    """Give the upload of these bytes for this site."""
    return db.scalar(select(Upload).where(Upload.site_id == site_id, Upload.sha256 == sha256))


def names_of(db: Session, *, ids: Sequence[int]) -> dict[int, str]:
    """Give the names of uploads."""
    names: dict[int, str] = {}
    for first in range(0, len(ids), _AT_ONCE):
        found = select(Upload.id, Upload.name).where(Upload.id.in_(ids[first : first + _AT_ONCE]))
        names.update({row.id: row.name for row in db.execute(found)})
    return names


def uploads_of_ids(db: Session, *, site_id: int, ids: Sequence[int]) -> list[Upload]:
    """Give these uploads of a site, as far as they are its own."""
    uploads: list[Upload] = []
    for first in range(0, len(ids), _AT_ONCE):
        found = select(Upload).where(
            Upload.site_id == site_id, Upload.id.in_(ids[first : first + _AT_ONCE])
        )
        uploads.extend(db.scalars(found.order_by(Upload.id)))
    return uploads


def uploads_in_state(db: Session, *, site_id: int, state: str) -> list[Upload]:
    """Give a site's uploads in a state, the oldest first."""
    found = select(Upload).where(Upload.site_id == site_id, Upload.state == state)
    return list(db.scalars(found.order_by(Upload.id)))


def asking_since(db: Session, *, before: datetime) -> list[Upload]:
    """Give the uploads that have waited for an answer since before a moment."""
    found = select(Upload).where(Upload.state == "asking", Upload.received_at < before)
    return list(db.scalars(found))


def waiting_uploads() -> Select[int, int]:
    """Select upload and site of what is kept and not yet read, the oldest first."""
    return (
        select(Upload.id, Upload.site_id)
        .join(Site, Site.id == Upload.site_id)
        .where(Upload.state == "kept", Site.deleted_at.is_(None))
        .order_by(Upload.id)
    )


def not_stored(db: Session) -> list[str | None]:
    """Give what is said of uploads whose rows are not in."""
    return list(db.scalars(select(Upload.message).where(Upload.state != "stored")))


def site_with_bytes(db: Session, *, sha256: str, but_site_id: int) -> Site | None:
    """Give another site for which these bytes are stored."""
    return db.scalar(
        select(Site)
        .join(Upload, Upload.site_id == Site.id)
        .where(
            Upload.sha256 == sha256,
            Upload.state == "stored",
            Site.id != but_site_id,
            Site.deleted_at.is_(None),
        )
        .order_by(Site.id)
        .limit(1)
    )


def site_with_values(db: Session, *, hashes: Sequence[str], but_site_id: int) -> Site | None:
    """Give another site that has a day of exactly these values."""
    for first in range(0, len(hashes), _AT_ONCE):
        some = list(hashes[first : first + _AT_ONCE])
        values = {"hashes": some, "but_site_id": but_site_id}
        found = db.connection().execute(_SITE_WITH_VALUES, values).scalar()
        if found is not None:
            return db.get_one(Site, found)
    return None


def save_blocks(
    db: Session,
    *,
    site_id: int,
    blocks: Mapping[date, Sealed],
) -> None:
    """Write blocks in place of what these days had."""
    write_blocks(db, {(site_id, day): block for day, block in sorted(blocks.items())})


def write_blocks(db: Session, blocks: Mapping[tuple[int, date], Sealed]) -> None:
    """Write blocks of days of sites in place of what these days had."""
    rows = [
        {
            "site_id": site_id,
            "day": day,
            "rows": block.rows,
            "data": block.data,
            "values_hash": block.values_hash,
        }
        for (site_id, day), block in blocks.items()
    ]
    if rows:
        # Past the session's objects, which nobody holds of blocks.
        db.connection().execute(_saving(dialect_of(db)), rows)


@lru_cache
def _saving(dialect: str) -> Any:
    statement = insert_for(dialect, DayBlock)
    return statement.on_conflict_do_update(
        index_elements=[DayBlock.site_id, DayBlock.day],
        set_={name: statement.excluded[name] for name in ("rows", "data", "values_hash")},
    )


def load_rows(db: Session, *, site_id: int, start_s: int, end_s: int) -> Block | None:
    """Give the rows stamped in `[start_s, end_s]`."""
    rows, _ = _load_days(db, site_id=site_id, first=utc_day(start_s), last=utc_day(end_s))
    if rows is None:
        return None
    first, last = np.searchsorted(rows.stamp_s, [start_s, end_s + 1]).tolist()
    return part_of(rows, first, last) if first < last else None


def _load_days(
    db: Session, *, site_id: int, first: date, last: date, extremes: bool = False
) -> tuple[Block | None, Stamp]:
    """Give the rows of UTC days, both included, and which end of their step their stamps mark.

    With `extremes`, what is kept as means is given as lowest and highest values instead.
    """
    values = {"site_id": site_id, "first": first, "last": last}
    found = db.connection().execute(_DAYS, values).all()
    stamp: Stamp = "start" if found and found[0].stamp == "start" else "end"
    if not extremes or not any(one.kind == "means" for one in found):
        return decode_days([one.data for one in found]), stamp
    blocks = (
        spread(rolled_back(one.data, one.extremes), stamp=stamp)
        if one.kind == "means"
        else decode(one.data)
        for one in found
    )
    return join(blocks), stamp


def count_rows(db: Session, *, site_id: int, start_s: int, end_s: int) -> int:
    """Count the rows of the UTC days that a span touches."""
    found = select(func.coalesce(func.sum(DayBlock.rows), 0)).where(
        DayBlock.site_id == site_id,
        DayBlock.day >= utc_day(start_s),
        DayBlock.day <= utc_day(end_s),
    )
    return int(db.scalar(found) or 0)


def load_record(
    db: Session, *, site_id: int, start_s: int, end_s: int, extremes: bool = False
) -> Record | None:
    """Give the rows whose steps touch `[start_s, end_s)` as a record, or None without any.

    With `extremes`, for a plot, what is kept as means is given as lowest and highest values.
    """
    # Whole UTC days: what is brought to common rows is settled day by day.
    rows, stamp = _load_days(
        db,
        site_id=site_id,
        first=utc_day(start_s - _LONGEST_STEP_S),
        last=utc_day(end_s + _LONGEST_STEP_S - 1),
        extremes=extremes,
    )
    if rows is None:
        return None
    record = record_from_stamps(stamp_s=rows.stamp_s, columns=rows.columns, stamp=stamp)
    touching = (record.start_s < end_s) & (record.start_s + record.step_s > start_s)
    if not bool(touching.any()):
        return None
    first = int(touching.argmax())
    last = len(record) - int(touching[::-1].argmax())
    return record.part(first, last)


def days_stored(db: Session, site_id: int) -> list[date]:
    """Give the UTC days that hold rows, rising."""
    found = select(DayBlock.day).where(DayBlock.site_id == site_id).order_by(DayBlock.day)
    return list(db.scalars(found))


def last_day_stored(db: Session, site_id: int) -> date | None:
    """Give the last UTC day that holds rows."""
    found: date | None = db.connection().execute(_LAST_DAY, {"site_id": site_id}).scalar()
    return found


def channels_seen(db: Session, site_id: int) -> frozenset[str]:
    """Give the channels that the site has ever logged."""
    return frozenset(db.connection().execute(_CHANNELS, {"site_id": site_id}).scalars())


def add_channels(db: Session, *, site_id: int, channels: Iterable[str]) -> None:
    """Remember channels."""
    rows = [{"site_id": site_id, "channel": name} for name in sorted(channels)]
    if rows:
        db.execute(insert_into(db, ChannelSeen).on_conflict_do_nothing(), rows)


def drop_channels(db: Session, *, site_id: int, channels: Iterable[str]) -> None:
    """Forget channels that no row holds any more."""
    names = sorted(channels)
    if names:
        db.execute(
            delete(ChannelSeen).where(
                ChannelSeen.site_id == site_id, ChannelSeen.channel.in_(names)
            )
        )


def mark_days(db: Session, *, site_id: int, days: Iterable[date], due_at: datetime) -> None:
    """Mark local days to be analysed; an earlier due time stands."""
    write_marks(db, {(site_id, day): due_at for day in sorted(set(days))})


def write_marks(db: Session, due_at: Mapping[tuple[int, date], datetime]) -> None:
    """Mark local days of sites; an earlier due time stands."""
    rows = [
        {"site_id": site_id, "date": day, "due_at": due, "serial": 1}
        for (site_id, day), due in due_at.items()
    ]
    if rows:
        db.connection().execute(_marking(dialect_of(db)), rows)


@lru_cache
def _marking(dialect: str) -> Any:
    statement = insert_for(dialect, DayMark)
    earlier = DayMark.due_at < statement.excluded.due_at
    return statement.on_conflict_do_update(
        index_elements=[DayMark.site_id, DayMark.date],
        set_={
            "serial": DayMark.serial + 1,
            "due_at": case((earlier, DayMark.due_at), else_=statement.excluded.due_at),
        },
    )


def mark_everything(db: Session, *, site_id: int, due_at: datetime) -> None:
    """Mark every local day that stored rows can touch."""
    mark_days(db, site_id=site_id, days=days_touched(db, site_id), due_at=due_at)


def days_touched(db: Session, site_id: int) -> set[date]:
    """Give every local day that stored rows can touch."""
    return {day + timedelta(days=shift) for day in days_stored(db, site_id) for shift in (-1, 0, 1)}


def rows_counted(db: Session, site_id: int) -> tuple[int, int, int, int]:
    """Give the rows read, kept, duplicate and rejected of everything in force at a site.

    A row that another file says again, or says otherwise, is there once: it counts as duplicate.
    Days that were rolled up or removed since count with the rows that they had.
    """
    row = db.connection().execute(_COUNTED, {"site_id": site_id}).one()
    read, rejected, held, rolled = (int(value or 0) for value in row)
    kept = held + rolled
    return read, kept, max(read - kept - rejected, 0), rejected


def hashes_referred_to(db: Session, hashes: Sequence[str]) -> set[str]:
    """Give which of these raw files something still refers to."""
    found: set[str] = set()
    for first in range(0, len(hashes), _AT_ONCE):
        part = hashes[first : first + _AT_ONCE]
        for held in (WeatherFile.sha256, VisitPhoto.sha256):
            found.update(db.scalars(select(held).where(held.in_(part))))
        logs = select(Upload.sha256).where(Upload.sha256.in_(part), Upload.bytes_gone_at.is_(None))
        found.update(one for one in db.scalars(logs) if one)
    return found
