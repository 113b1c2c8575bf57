"""All SQL about gateways' batches, for several sites at once. Nothing here commits.

The statements go past the session's objects: a push asks for few columns and writes rows that
nobody looks at within its transaction, and objects would be most of what it costs.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Executable, Row, bindparam, select, update
from sqlalchemy.orm import Session

from service.db.models import ApiKey, Site, Upload
from service.retention.queries import CLOSED_UNTIL

_OPEN = (
    select(Site.id, Site.slug, Site.timezone, Site.stamp, Site.text)
    .where(Site.deleted_at.is_(None))
    .order_by(Site.id)  # whoever locks several does so in one order, so that none wait in a ring
)
_OF_KEYS = (
    _OPEN.add_columns(ApiKey.key_hash)
    .join(ApiKey, ApiKey.site_id == Site.id)
    .where(ApiKey.key_hash.in_(bindparam("hashes", expanding=True)), ApiKey.revoked_at.is_(None))
    # The keys, too: whoever waited for a site learns what became of its key in the meantime.
    .with_for_update(of=(Site, ApiKey))
)
_OF_ID = _OPEN.where(Site.id == bindparam("id")).with_for_update()
# Asked once they are locked: what locks them says how things were before it waited.
_ONCE_LOCKED = CLOSED_UNTIL.add_columns(
    select(Upload.id)
    .where(Upload.site_id == Site.id, Upload.pushed_on == bindparam("day"))
    .scalar_subquery()
    .label("upload_id")
)
_COUNT = (
    update(Upload)
    .where(Upload.id == bindparam("upload"))
    .values(
        size_bytes=Upload.size_bytes + bindparam("sent_bytes"),
        rows_read=Upload.rows_read + bindparam("sent_rows"),
        rows_kept=Upload.rows_kept + bindparam("sent_new"),
        rows_duplicate=Upload.rows_duplicate + bindparam("sent_known"),
        rows_rejected=Upload.rows_rejected + bindparam("sent_left_out"),
        settled_at=bindparam("now"),
    )
)
_LEFT_OUT = select(Upload.rows_rejected).where(Upload.id == bindparam("upload"))
_SAY = update(Upload).where(Upload.id == bindparam("upload")).values(message=bindparam("said"))
_SET_STAMP = update(Site).where(Site.id == bindparam("site")).values(stamp=bindparam("told"))


@dataclass(slots=True, kw_only=True)
class OpenSite:
    """What a batch needs to know of its site, which is locked.

    Attributes
    ----------
    stamp : which end of its step the stored stamps mark; None while nothing is stored
    text : the site file
    closed_until : the last UTC day that takes no rows any more; None while all do
    upload_id : the upload that counts what its gateway pushes today; None before the first batch
    """

    id: int
    slug: str
    timezone: str
    stamp: str | None
    text: str
    closed_until: date | None
    upload_id: int | None


@dataclass(slots=True, kw_only=True)
class Counted:
    """What batches add to the upload that counts them; of the rows some are `left_out`."""

    size_bytes: int = 0
    rows: int = 0
    new: int = 0
    left_out: int = 0


def sites_of_keys(db: Session, hashes: Iterable[str], *, day: date) -> dict[str, OpenSite]:
    """Give and lock the sites that gateways' keys open, by the hash of the key.

    Keys that are not known (any more) are left out. Two keys of one site give one object. `day` is
    today.
    """
    found = _all(db, _OF_KEYS, {"hashes": sorted(set(hashes))})
    sites = _sites(db, found, day=day)
    return {row.key_hash: sites[row.id] for row in found}


def site_of_id(db: Session, site_id: int, *, day: date) -> OpenSite | None:
    """Give and lock a site; `day` is today."""
    return _sites(db, _all(db, _OF_ID, {"id": site_id}), day=day).get(site_id)


def _sites(db: Session, found: Iterable[Row[Any]], *, day: date) -> dict[int, OpenSite]:
    rows = {row.id: row for row in found}
    if not rows:
        return {}
    return {
        one.id: OpenSite(
            id=one.id,
            slug=rows[one.id].slug,
            timezone=rows[one.id].timezone,
            stamp=rows[one.id].stamp,
            text=rows[one.id].text,
            closed_until=one.closed_until,
            upload_id=one.upload_id,
        )
        for one in _all(db, _ONCE_LOCKED, {"sites": list(rows), "day": day})
    }


def set_stamp(db: Session, *, site_id: int, stamp: str) -> None:
    """Note which end of its step the stamps of a site mark from now on."""
    db.connection().execute(_SET_STAMP, {"site": site_id, "told": stamp})


def add_pushes_of(db: Session, *, site_id: int, now: datetime) -> int:
    """Make the upload that counts what a gateway pushes today."""
    day = now.date()
    upload = Upload(
        site_id=site_id,
        pushed_on=day,
        name=f"gateway {day.isoformat()}",
        size_bytes=0,
        via="gateway",
        state="stored",
        rows_read=0,
        rows_kept=0,
        rows_duplicate=0,
        rows_rejected=0,
        problems=[],
        files=[],
        received_at=now,
    )
    db.add(upload)
    db.flush()
    return upload.id


def count_pushes(db: Session, counted: Mapping[int, Counted], *, now: datetime) -> None:
    """Count batches on the uploads of their days; what a session holds of them is not brought up.

    Parameters
    ----------
    db : a writing session
    counted : what is added, by upload
    now : when they were settled
    """
    rows = [
        {
            "upload": upload_id,
            "sent_bytes": one.size_bytes,
            "sent_rows": one.rows,
            "sent_new": one.new,
            "sent_known": max(one.rows - one.new - one.left_out, 0),
            "sent_left_out": one.left_out,
            "now": now,
        }
        for upload_id, one in sorted(counted.items())
    ]
    if rows:
        db.connection().execute(_COUNT, rows)


def left_out_of(db: Session, *, upload_id: int) -> int:
    """Give how many rows of what a gateway pushed on a day were left out."""
    return db.connection().execute(_LEFT_OUT, {"upload": upload_id}).scalar_one()


def set_message(db: Session, *, upload_id: int, message: str) -> None:
    """Note what is said of what a gateway pushed on a day."""
    db.connection().execute(_SAY, {"upload": upload_id, "said": message})


def _all(db: Session, statement: Executable, values: Mapping[str, object]) -> list[Row[Any]]:
    return list(db.connection().execute(statement, dict(values)))
