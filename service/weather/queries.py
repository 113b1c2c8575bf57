"""All SQL about weather files, their hours and the addresses they come from. Nothing commits."""

from collections.abc import Mapping
from datetime import date

from sqlalchemy import Select, bindparam, delete, select, update
from sqlalchemy.orm import Session

from analysis.blocks import Block
from service.db.engine import insert_into
from service.db.models import Site, WeatherDay, WeatherFile, WeatherSource
from service.db.moment import FAR_AHEAD, NOW
from service.ingest.blocks import decode_days, encode

# A UTC day with so many hours needs no asking (a source may lack one at its end).
WHOLE_DAY_HOURS = 23


def files_of(db: Session, *, site_id: int, limit: int | None = None) -> list[WeatherFile]:
    """Give a site's weather files, the newest first."""
    found = select(WeatherFile).where(WeatherFile.site_id == site_id)
    return list(db.scalars(found.order_by(WeatherFile.id.desc()).limit(limit)))


def file_of(db: Session, *, site_id: int, file_id: int) -> WeatherFile | None:
    """Give one weather file of a site."""
    found = db.get(WeatherFile, file_id)
    return found if found is not None and found.site_id == site_id else None


def file_of_bytes(db: Session, *, site_id: int, sha256: str) -> WeatherFile | None:
    """Give the weather file of these bytes for this site."""
    return db.scalar(
        select(WeatherFile).where(WeatherFile.site_id == site_id, WeatherFile.sha256 == sha256)
    )


def waiting_files() -> Select[int, int]:
    """Select file and site of what is kept and not yet read, the oldest first."""
    return (
        select(WeatherFile.id, WeatherFile.site_id)
        .join(Site, Site.id == WeatherFile.site_id)
        .where(WeatherFile.state == "kept", Site.deleted_at.is_(None))
        .order_by(WeatherFile.id)
    )


def keep_all_again(db: Session, *, site_id: int) -> None:
    """Have all files of a site read anew."""
    db.execute(
        update(WeatherFile)
        .where(WeatherFile.site_id == site_id)
        .values(state="kept", message=None, hours=0, first_s=None, last_s=None)
    )


_HOURS = (
    select(WeatherDay.data)
    .where(
        WeatherDay.site_id == bindparam("site_id"),
        WeatherDay.day.between(bindparam("first"), bindparam("last")),
    )
    .order_by(WeatherDay.day)
)


def load_hours(db: Session, *, site_id: int, first: date, last: date) -> Block | None:
    """Give the hours of UTC days, both included, None where there are none."""
    values = {"site_id": site_id, "first": first, "last": last}
    return decode_days(db.connection().execute(_HOURS, values).scalars().all())


def save_hours(db: Session, *, site_id: int, blocks: Mapping[date, Block]) -> None:
    """Write hours in place of what these days had."""
    if not blocks:
        return
    statement = insert_into(db, WeatherDay)
    statement = statement.on_conflict_do_update(
        index_elements=[WeatherDay.site_id, WeatherDay.day],
        set_={name: statement.excluded[name] for name in ("hours", "data")},
    )
    rows = [
        {"site_id": site_id, "day": day, "hours": len(block), "data": encode(block)}
        for day, block in sorted(blocks.items())
    ]
    db.execute(statement, rows)


def drop_hours(db: Session, *, site_id: int) -> None:
    """Forget all hours of a site."""
    db.execute(delete(WeatherDay).where(WeatherDay.site_id == site_id))


def covered_days(db: Session, *, site_id: int) -> frozenset[date]:
    """Give the UTC days whose weather is known."""
    found = select(WeatherDay.day).where(
        WeatherDay.site_id == site_id, WeatherDay.hours >= WHOLE_DAY_HOURS
    )
    return frozenset(db.scalars(found))


def due_sources() -> Select[int, int]:
    """Select the sites whose address is to be asked as of a `moment`, twice in each row."""
    due = (WeatherSource.next_at <= NOW) | (WeatherSource.next_at > FAR_AHEAD)
    return (
        select(WeatherSource.site_id, Site.id)
        .join(Site, Site.id == WeatherSource.site_id)
        .where(Site.deleted_at.is_(None), due)
        .order_by(WeatherSource.next_at)
    )
