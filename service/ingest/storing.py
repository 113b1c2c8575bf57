"""Laying read rows into the store of a site, and taking them out again; the caller commits.

Each upload is a layer of the days it touches (`analysis.layers`); the day's block is what
all layers give together.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Literal

import numpy as np
from sqlalchemy.orm import Session

from analysis.blocks import Block, merge, split_days
from analysis.days import local_date
from analysis.layers import Layer, fold
from analysis.record import of_days_alone, steps_s
from service.db.engine import VALUES_LOCK, one_at_a_time
from service.db.models import Site, Upload
from service.ingest import layer_queries, queries
from service.ingest.blocks import Change, change, values_hash
from service.ingest.layer_queries import HeldDay

# The analysis of a day also looks at its neighbours (`analysis.assess.MARGIN_DAYS`).
NEIGHBOUR_DAYS = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Stored:
    """How many rows are new, say something else, went, or said what was known already."""

    new: int
    changed: int
    gone: int
    same: int


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
    rows = _in_stamps_of(site, rows, stamp)
    parts = split_days(rows)
    hashes = {day: values_hash(part) for day, part in parts.items()}
    told = [one for one in hashes.values() if one is not None]
    if told:
        one_at_a_time(db, VALUES_LOCK)
        other = queries.site_with_values(db, hashes=told, but_site_id=site.id)
        if other is not None:
            raise OtherSiteError(other)
    held = layer_queries.load_days(db, site_id=site.id, days=sorted(parts))
    pushed = upload.pushed_on is not None
    layers = {
        day: _with_layer(held.get(day), Layer(number=upload.id, block=part, pushed=pushed))
        for day, part in parts.items()
    }
    hashed = {day: (part, hashes[day]) for day, part in parts.items()}
    changes = _lay(db, site=site, held=held, layers=layers, hashed=hashed)
    # What a block of these days holds was seen before; most batches need not ask further.
    known = {name for day in held.values() for name in day.block.columns}
    _mark(db, site=site, changes=changes, channels=rows.columns.keys() - known, due_at=due_at)
    new = sum(one.new for one in changes.values())
    changed = sum(one.changed for one in changes.values())
    return Stored(
        new=new,
        changed=changed,
        gone=sum(one.gone for one in changes.values()),
        same=max(len(rows) - new - changed, 0),
    )


def take_out(db: Session, *, site: Site, upload: Upload, due_at: datetime) -> None:
    """Take an upload's rows out of the site's days; what lay beneath is in force again.

    Parameters
    ----------
    db : a writing session in which `site` was locked
    site : the site
    upload : whose rows these are
    due_at : when the days that change may be analysed
    """
    days = layer_queries.days_of_upload(db, site_id=site.id, upload_id=upload.id)
    held = layer_queries.load_days(db, site_id=site.id, days=days)
    layers = {
        day: [layer for layer in held[day].layers if layer.number != upload.id] for day in days
    }
    changes = _lay(db, site=site, held=held, layers=layers, hashed={})
    _mark(db, site=site, changes=changes, channels=set(), due_at=due_at)
    if not queries.days_stored(db, site.id):
        site.stamp = None  # the next file says anew which end of its step a stamp marks
    _forget_channels(db, site=site, due_at=due_at)


def _with_layer(held: HeldDay | None, layer: Layer) -> list[Layer]:
    """Add a layer, or rows to the one that the upload has already."""
    known = () if held is None else held.layers
    own = [one for one in known if one.number == layer.number]
    if own:
        layer = replace(layer, block=merge(own[0].block, layer.block))
    others = [one for one in known if one.number != layer.number]
    return sorted([*others, layer], key=lambda one: one.number)


def _lay(
    db: Session,
    *,
    site: Site,
    held: Mapping[date, HeldDay],
    layers: Mapping[date, list[Layer]],
    hashed: Mapping[date, tuple[Block, str | None]],
) -> dict[date, Change]:
    """Write the layers of these days and what they give together; tell what changed.

    `hashed` are blocks whose hash is known: most days are what one file says of them.
    """
    folded = {day: fold(own) for day, own in layers.items() if own}
    changes = {
        day: change(
            held[day].block if day in held else None,
            folded[day].block if day in folded else None,
        )
        for day in sorted(layers)
    }
    blocks = {day: one.block for day, one in folded.items() if _is_change(changes[day])}
    hashes: dict[date, str | None] = {}
    for day, block in blocks.items():
        known, hashes[day] = hashed.get(day, (None, None))
        if block is not known:
            hashes[day] = values_hash(block)
    queries.save_blocks(db, site_id=site.id, blocks=blocks, hashes=hashes)
    layer_queries.drop_days(db, site_id=site.id, days=sorted(set(layers) - set(folded)))
    layer_queries.save_layers(
        db,
        site_id=site.id,
        held=held,
        layers=layers,
        replaced={day: one.replaced for day, one in folded.items()},
    )
    return changes


def _is_change(one: Change) -> bool:
    return bool(one.touched_s.shape[0]) or one.columns


def _in_stamps_of(site: Site, rows: Block, stamp: Literal["end", "start"]) -> Block:
    """Give the rows with stamps at the end of the step that the site's stored rows use."""
    if site.stamp is None:
        site.stamp = stamp
    if site.stamp == stamp:
        return rows
    steps = np.zeros(len(rows), dtype=np.int64)
    samples = ~of_days_alone(rows.columns, len(rows))  # a day's figure stays at its noon
    steps[samples] = np.rint(steps_s(rows.stamp_s[samples], stamp=stamp)).astype(np.int64)
    shifted = rows.stamp_s + steps if site.stamp == "end" else rows.stamp_s - steps
    # Where the step changes, two shifted stamps can meet; the first is kept.
    shifted, first = np.unique(shifted, return_index=True)
    return Block(
        stamp_s=shifted, columns={name: values[first] for name, values in rows.columns.items()}
    )


def _mark(
    db: Session,
    *,
    site: Site,
    changes: Mapping[date, Change],
    channels: set[str],
    due_at: datetime,
) -> None:
    """Mark what changed; a channel never seen before concerns every day."""
    unseen = channels - queries.channels_seen(db, site.id) if channels else channels
    if unseen:
        queries.add_channels(db, site_id=site.id, channels=unseen)
        queries.mark_everything(db, site_id=site.id, due_at=due_at)
    days: set[date] = set()
    for one in changes.values():
        if one.touched_s.shape[0]:
            days |= _local_days(one.touched_s, timezone=site.timezone)
    queries.mark_days(db, site_id=site.id, days=days, due_at=due_at)


def _forget_channels(db: Session, *, site: Site, due_at: datetime) -> None:
    """Forget channels that no row holds any more; that concerns every day, too."""
    stored = layer_queries.channels_stored(db, site.id)
    lost = queries.channels_seen(db, site.id) - stored
    queries.drop_channels(db, site_id=site.id, channels=lost)
    if lost:
        queries.mark_everything(db, site_id=site.id, due_at=due_at)


def _local_days(touched_s: np.ndarray, *, timezone: str) -> set[date]:
    """Give the local days of rows and their neighbours; a step may begin up to an hour earlier."""
    first = local_date(int(touched_s[0]) - 3600, timezone) - timedelta(days=NEIGHBOUR_DAYS)
    last = local_date(int(touched_s[-1]) + 3600, timezone) + timedelta(days=NEIGHBOUR_DAYS)
    return {first + timedelta(days=number) for number in range((last - first).days + 1)}
