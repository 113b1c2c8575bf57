"""Laying read rows into the store of a site: merge, mark, count; the caller commits."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal

import numpy as np
from sqlalchemy.orm import Session

from analysis.days import local_date
from analysis.record import steps_s
from service.db.engine import VALUES_LOCK, one_at_a_time
from service.db.models import Site
from service.ingest import queries
from service.ingest.blocks import Block, Merged, merge, split_days, values_hash

# The analysis of a day also looks at its neighbours (`analysis.assess.MARGIN_DAYS`).
NEIGHBOUR_DAYS = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Stored:
    """How many rows were new, changed something, or said what was known already."""

    new: int
    changed: int
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
    rows: Block,
    stamp: Literal["end", "start"],
    due_at: datetime,
) -> Stored:
    """Merge rows into the site's day blocks and mark the local days that changed.

    Parameters
    ----------
    db : a writing session in which `site` was locked
    rows : at least one row, on strictly rising stamps
    stamp : which end of its step these stamps mark
    due_at : when the marked days may be analysed

    Raises
    ------
    OtherSiteError : a whole day of exactly these values is stored for another site
    """
    rows = _in_stamps_of(site, rows, stamp)
    parts = split_days(rows)
    hashes = [found for part in parts.values() if (found := values_hash(part)) is not None]
    if hashes:
        one_at_a_time(db, VALUES_LOCK)
        other = queries.site_with_values(db, hashes=hashes, but_site_id=site.id)
        if other is not None:
            raise OtherSiteError(other)
    held = queries.load_blocks(db, site_id=site.id, days=sorted(parts))
    merged = {day: merge(held.get(day), part) for day, part in parts.items()}
    touched = {day: one for day, one in merged.items() if _brings_something(one, held.get(day))}
    queries.save_blocks(
        db, site_id=site.id, blocks={day: one.block for day, one in touched.items()}
    )
    _mark(db, site=site, touched=touched, channels=frozenset(rows.columns), due_at=due_at)
    new = sum(one.new for one in merged.values())
    changed = sum(one.changed for one in merged.values())
    return Stored(new=new, changed=changed, same=len(rows) - new - changed)


def _in_stamps_of(site: Site, rows: Block, stamp: Literal["end", "start"]) -> Block:
    """Give the rows with stamps at the end of the step that the site's stored rows use."""
    if site.stamp is None:
        site.stamp = stamp
    if site.stamp == stamp:
        return rows
    steps = np.rint(steps_s(rows.stamp_s, stamp=stamp)).astype(np.int64)
    shifted = rows.stamp_s + steps if site.stamp == "end" else rows.stamp_s - steps
    # Where the step changes, two shifted stamps can meet; the first is kept.
    shifted, first = np.unique(shifted, return_index=True)
    return Block(
        stamp_s=shifted, columns={name: values[first] for name, values in rows.columns.items()}
    )


def _brings_something(merged: Merged, held: Block | None) -> bool:
    if held is None or merged.new or merged.changed:
        return True
    return set(merged.block.columns) != set(held.columns)


def _mark(
    db: Session,
    *,
    site: Site,
    touched: Mapping[date, Merged],
    channels: frozenset[str],
    due_at: datetime,
) -> None:
    """Mark what changed; a channel never seen before concerns every day."""
    unseen = channels - queries.channels_seen(db, site.id)
    queries.add_channels(db, site_id=site.id, channels=unseen)
    if unseen:
        queries.mark_everything(db, site_id=site.id, due_at=due_at)
    days: set[date] = set()
    for one in touched.values():
        if one.touched_s.shape[0]:
            days |= _local_days(one.touched_s, timezone=site.timezone)
    queries.mark_days(db, site_id=site.id, days=days, due_at=due_at)


def _local_days(touched_s: np.ndarray, *, timezone: str) -> set[date]:
    """Give the local days of rows and their neighbours; a step may begin up to an hour earlier."""
    first = local_date(int(touched_s[0]) - 3600, timezone) - timedelta(days=NEIGHBOUR_DAYS)
    last = local_date(int(touched_s[-1]) + 3600, timezone) + timedelta(days=NEIGHBOUR_DAYS)
    return {first + timedelta(days=number) for number in range((last - first).days + 1)}
