"""Laying read rows into the store of a site, and taking them out again; the caller commits.

Each upload is a layer of the days it touches (`analysis.layers`); the day's block is what
all layers give together.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from sqlalchemy.orm import Session

from analysis.blocks import Block, split_days
from analysis.layers import Layer
from service.db.engine import VALUES_LOCK, one_at_a_time
from service.db.models import Site, Upload
from service.ingest import layer_queries, queries
from service.ingest.blocks import Change, Sealed, seal, seal_days
from service.ingest.closed import free_neighbours, take_closed
from service.ingest.laying import HeldDay, laid, local_days, restamped, with_layer
from service.retention.queries import closed_days, closed_until, has_gone


@dataclass(frozen=True, slots=True, kw_only=True)
class Stored:
    """How many rows are new, say something else, went, or said what was known already.

    `closed` ones are of days that are rolled up or removed, and were left out.
    """

    new: int
    changed: int
    gone: int
    same: int
    closed: int = 0


class ClosedDaysError(Exception):
    """Rows cannot be taken out of days that are rolled up or removed."""


class OtherSiteError(Exception):
    """The values are already stored for another site."""

    def __init__(self, site: Site) -> None:
        super().__init__(site.slug)
        self.site = site


def store_rows(
    db: Session,
    *,
    site: Site,
    upload: Upload,
    rows: Block,
    stamp: Literal["end", "start"],
    due_at: datetime,
) -> Stored:
    """Lay an upload's rows into the site's days and mark the local days that changed.

    Parameters
    ----------
    db : a writing session in which `site` was locked
    site : the site
    upload : whose rows these are; rows of a gateway add to what it pushed before
    rows : at least one row, on strictly rising stamps
    stamp : which end of its step these stamps mark
    due_at : when the marked days may be analysed

    Raises
    ------
    OtherSiteError : a whole day of exactly these values is stored for another site
    """
    if site.stamp is None:
        site.stamp = stamp
    rows = restamped(rows, stamp, stored="start" if site.stamp == "start" else "end")
    parts = split_days(rows)
    until = closed_until(db, site.id)
    closed = take_closed(db, site_id=site.id, parts=parts, until=until)
    sealed = seal_days(parts)
    told = [one.values_hash for one in sealed.values() if one.values_hash is not None]
    if told:
        one_at_a_time(db, VALUES_LOCK)
        other = queries.site_with_values(db, hashes=told, but_site_id=site.id)
        if other is not None:
            raise OtherSiteError(other)
    held = layer_queries.load_days(db, site_id=site.id, days=sorted(parts))
    pushed = upload.pushed_on is not None
    layers = {
        day: with_layer(held.get(day), Layer(number=upload.id, block=part, pushed=pushed))
        for day, part in parts.items()
    }
    known_parts = {day: (part, sealed[day]) for day, part in parts.items()}
    changes = _lay(db, site=site, held=held, layers=layers, sealed=known_parts)
    # What a block of these days holds was seen before; most batches need not ask further.
    known = {name for day in held.values() for name in day.block.columns}
    channels = rows.columns.keys() - known if parts else set()
    _mark(db, site=site, changes=changes, channels=channels, until=until, due_at=due_at)
    new = sum(one.new for one in changes.values())
    changed = sum(one.changed for one in changes.values())
    return Stored(
        new=new,
        changed=changed,
        gone=sum(one.gone for one in changes.values()),
        same=max(len(rows) - new - changed - closed, 0),
        closed=closed,
    )


def take_out(db: Session, *, site: Site, upload: Upload, due_at: datetime) -> None:
    """Take an upload's rows out of the site's days; what lay beneath is in force again.

    Parameters
    ----------
    db : a writing session in which `site` was locked
    site : the site
    upload : whose rows these are
    due_at : when the days that change may be analysed

    Raises
    ------
    ClosedDaysError : some of its days are rolled up or removed; nothing changes then
    """
    days = layer_queries.days_of_upload(db, site_id=site.id, upload_id=upload.id)
    if closed_days(db, site_id=site.id, days=days):
        raise ClosedDaysError
    held = layer_queries.load_days(db, site_id=site.id, days=days)
    layers = {
        day: [layer for layer in held[day].layers if layer.number != upload.id] for day in days
    }
    changes = _lay(db, site=site, held=held, layers=layers, sealed={})
    until = closed_until(db, site.id)
    _mark(db, site=site, changes=changes, channels=set(), until=until, due_at=due_at)
    if not queries.days_stored(db, site.id):
        site.stamp = None  # the next file says anew which end of its step a stamp marks
    _forget_channels(db, site=site, due_at=due_at)


def _lay(
    db: Session,
    *,
    site: Site,
    held: Mapping[date, HeldDay],
    layers: Mapping[date, list[Layer]],
    sealed: Mapping[date, tuple[Block, Sealed]],
) -> dict[date, Change]:
    """Write the layers of these days and what they give together; tell what changed.

    `sealed` are blocks that are ready: most days are what one file says of them.
    """
    days = {day: laid(held.get(day), own) for day, own in sorted(layers.items())}
    blocks: dict[date, Sealed] = {}
    for day, one in days.items():
        if one.block is not None and one.differs:
            part, ready = sealed.get(day, (None, None))
            blocks[day] = ready if ready is not None and one.block is part else seal(one.block)
    queries.save_blocks(db, site_id=site.id, blocks=blocks)
    empty = [day for day, one in days.items() if one.block is None]
    layer_queries.drop_days(db, site_id=site.id, days=empty)
    layer_queries.save_layers(db, site_id=site.id, held=held, laid=days)
    return {day: one.change for day, one in days.items()}


def _mark(
    db: Session,
    *,
    site: Site,
    changes: Mapping[date, Change],
    channels: set[str],
    until: date | None,
    due_at: datetime,
) -> None:
    """Mark what changed; a channel never seen before concerns every day.

    Days up to `until` are closed.
    """
    unseen = channels - queries.channels_seen(db, site.id) if channels else channels
    days: set[date] = set()
    if unseen:
        queries.add_channels(db, site_id=site.id, channels=unseen)
        days |= queries.days_touched(db, site.id)
    for one in changes.values():
        if one.touched_s.shape[0]:
            days |= local_days(one.touched_s, timezone=site.timezone)
    free_neighbours(db, site_id=site.id, timezone=site.timezone, changes=changes, until=until)
    queries.mark_days(db, site_id=site.id, days=days, due_at=due_at)


def _forget_channels(db: Session, *, site: Site, due_at: datetime) -> None:
    """Forget channels that no row holds any more; that concerns every day, too."""
    if has_gone(db, site.id):
        return  # what was removed may have held any of them
    stored = layer_queries.channels_stored(db, site.id)
    lost = queries.channels_seen(db, site.id) - stored
    queries.drop_channels(db, site_id=site.id, channels=lost)
    if lost:
        queries.mark_everything(db, site_id=site.id, due_at=due_at)
