"""All SQL about the layers of a day: what each upload says of it. Nothing here commits."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from functools import lru_cache
from typing import Any

from sqlalchemy import BindParameter, and_, bindparam, delete, select
from sqlalchemy.orm import Session

from analysis.blocks import Block
from analysis.layers import Layer
from service.db.engine import dialect_of, insert_for
from service.db.models import DayBlock, DayLayer
from service.ingest.blocks import channels_in, decode, encode
from service.ingest.laying import HeldDay, LaidDay

_AT_ONCE = 400
# Each gateway's batch asks this; built once, it costs a third of the time.
_DAYS: BindParameter[date] = bindparam("days", expanding=True)
_HELD = (
    select(DayBlock.day, DayBlock.data, DayLayer.upload_id, DayLayer.pushed, DayLayer.data)
    .outerjoin(DayLayer, and_(DayLayer.site_id == DayBlock.site_id, DayLayer.day == DayBlock.day))
    .where(DayBlock.site_id == bindparam("site_id"), DayBlock.day.in_(_DAYS))
    .order_by(DayBlock.day, DayLayer.upload_id)
    .execution_options(as_stored=True)
)


def load_days(db: Session, *, site_id: int, days: Sequence[date]) -> dict[date, HeldDay]:
    """Give these days; one that was stored before there were layers has one layer, 0."""
    blocks: dict[date, Block] = {}
    layers: dict[date, list[Layer]] = {}
    for first in range(0, len(days), _AT_ONCE):
        wanted = {"site_id": site_id, "days": list(days[first : first + _AT_ONCE])}
        for day, data, upload_id, pushed, own in db.connection().execute(_HELD, wanted):
            if day not in blocks:
                blocks[day] = decode(data)
            block = blocks[day] if own is None else decode(own)
            # What was stored before there were layers has none of its own: it is layer 0.
            layer = Layer(number=upload_id or 0, block=block, pushed=bool(pushed))
            layers.setdefault(day, []).append(layer)
    return {day: HeldDay(block=block, layers=tuple(layers[day])) for day, block in blocks.items()}


def save_layers(
    db: Session, *, site_id: int, held: Mapping[date, HeldDay], laid: Mapping[date, LaidDay]
) -> None:
    """Write the layers of these days in place of those they had.

    Parameters
    ----------
    db : a writing session
    site_id : whose days
    held : these days as they were
    laid : these days as they become
    """
    less = [
        day
        for day, one in laid.items()
        if day in held and _numbers(held[day].layers) - _numbers(one.layers)
    ]
    for first in range(0, len(less), _AT_ONCE):
        part = less[first : first + _AT_ONCE]
        db.execute(delete(DayLayer).where(DayLayer.site_id == site_id, DayLayer.day.in_(part)))
    write_layers(db, {(site_id, day): one for day, one in laid.items()})


def write_layers(db: Session, laid: Mapping[tuple[int, date], LaidDay]) -> None:
    """Write all layers of days of sites; those that a day has no more are left as they are."""
    rows = [
        {
            "site_id": site_id,
            "day": day,
            "upload_id": layer.number,
            "pushed": layer.pushed,
            "rows": len(layer.block),
            "data": None if len(one.layers) == 1 else encode(layer.block),
            "replaced": {
                str(above): count for above, count in one.replaced.get(layer.number, {}).items()
            },
        }
        for (site_id, day), one in laid.items()
        for layer in one.layers
    ]
    if rows:
        # Past the session's objects, which nobody holds of rows.
        db.connection().execute(_saving(dialect_of(db)), rows)


def _numbers(layers: Iterable[Layer]) -> set[int]:
    return {layer.number for layer in layers}


@lru_cache
def _saving(dialect: str) -> Any:
    statement = insert_for(dialect, DayLayer)
    return statement.on_conflict_do_update(
        index_elements=[DayLayer.site_id, DayLayer.day, DayLayer.upload_id],
        set_={name: statement.excluded[name] for name in ("pushed", "rows", "data", "replaced")},
    )


def days_of_upload(db: Session, *, site_id: int, upload_id: int) -> list[date]:
    """Give the days that an upload says something of, rising."""
    found = select(DayLayer.day).where(DayLayer.site_id == site_id, DayLayer.upload_id == upload_id)
    return list(db.scalars(found.order_by(DayLayer.day)))


def drop_days(db: Session, *, site_id: int, days: Sequence[date]) -> None:
    """Remove the blocks of days that nothing is said of any more."""
    for first in range(0, len(days), _AT_ONCE):
        part = days[first : first + _AT_ONCE]
        db.execute(delete(DayBlock).where(DayBlock.site_id == site_id, DayBlock.day.in_(part)))


def channels_stored(db: Session, site_id: int) -> frozenset[str]:
    """Give the channels that the rows in force hold."""
    found = db.scalars(select(DayBlock.data).where(DayBlock.site_id == site_id))
    return frozenset(name for data in found for name in channels_in(data))


def replacements(db: Session, site_id: int) -> dict[int, dict[int, int]]:
    """Give for each upload how many of its rows each later one replaced."""
    found = db.execute(
        select(DayLayer.upload_id, DayLayer.replaced).where(DayLayer.site_id == site_id)
    )
    return _summed((row.upload_id, row.replaced) for row in found)


def _summed(rows: Iterable[tuple[int, Mapping[str, int]]]) -> dict[int, dict[int, int]]:
    total: dict[int, dict[int, int]] = {}
    for upload_id, replaced in rows:
        for above, count in replaced.items():
            held = total.setdefault(upload_id, {})
            held[int(above)] = held.get(int(above), 0) + count
    return total
