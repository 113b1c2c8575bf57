"""Gateways' batches, several as one write: what they share is asked and written once.

A batch that is refused leaves nothing behind and keeps no other back; the caller commits.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal

from sqlalchemy.orm import Session

from analysis.blocks import Block, split_days
from analysis.layers import Layer
from analysis.sitefile import parse_site
from service.accounts.access import unknown_key, unknown_site
from service.db.engine import VALUES_LOCK, WHOLE_DAYS_LOCK, one_at_a_time, shared
from service.db.models import Site
from service.errors import ConflictError, NotFoundError, ServiceError
from service.ingest import layer_queries, push_queries, queries
from service.ingest.blocks import Change, seal, values_hash
from service.ingest.closed import free_neighbours, left_out_words, take_closed
from service.ingest.laying import HeldDay, LaidDay, laid, local_days, restamped, with_layer
from service.ingest.push_queries import Counted, OpenSite
from service.ingest.pushes import on_their_days, parse_push
from service.ingest.schemas import Pushed
from service.ingest.settling import of_another

# A day of a site, as (site, UTC day).
Place = tuple[int, date]


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """What a gateway sent.

    Attributes
    ----------
    slug : the site that it names
    key_hash : of the key that it showed
    body : JSON (`service.ingest.pushes`)
    """

    slug: str
    key_hash: str
    body: bytes


def store_batches(
    db: Session, batches: Sequence[Batch], *, now: datetime, settle_s: float
) -> list[Pushed | ServiceError]:
    """Store batches; for each what became of it, or why nothing of it was stored.

    Parameters
    ----------
    db : a writing session that has read nothing yet
    batches : in the order in which they came
    now : the present moment
    settle_s : how long their days rest before they are analysed [s]
    """
    # Read first: nobody else can write from the first statement on.
    read = [_read(batch, now=now) for batch in batches]
    hashes = [batch.key_hash for batch in batches]
    sites = push_queries.sites_of_keys(db, hashes, day=now.date())
    sheaf = Sheaf(db, now=now, settle_s=settle_s)
    told: list[Pushed | ServiceError] = []
    for batch, rows in zip(batches, read, strict=True):
        try:
            site = sites.get(batch.key_hash)
            if site is None:
                raise unknown_key()
            if site.slug != batch.slug:
                raise unknown_site(batch.slug)
            if isinstance(rows, ServiceError):
                raise rows
            told.append(sheaf.add(site, rows, size_bytes=len(batch.body)))
        except ServiceError as error:
            told.append(error)
    sheaf.write()
    return told


def push_rows(
    db: Session, *, site_id: int, rows: Block, size_bytes: int, now: datetime, settle_s: float
) -> Pushed:
    """Store a gateway's rows; the caller commits before it answers.

    Raises
    ------
    ConflictError : the values are another site's
    NotFoundError : the site is gone
    """
    site = push_queries.site_of_id(db, site_id, day=now.date())
    if site is None:
        raise NotFoundError("This site is gone.")
    sheaf = Sheaf(db, now=now, settle_s=settle_s)
    told = sheaf.add(site, rows, size_bytes=size_bytes)
    sheaf.write()
    return told


def _read(batch: Batch, *, now: datetime) -> Block | ServiceError:
    try:
        return parse_push(batch.body, now_s=int(now.timestamp()))
    except ServiceError as error:
        return error


class Sheaf:
    """Batches of sites that are locked, gathered until they are written together."""

    def __init__(self, db: Session, *, now: datetime, settle_s: float) -> None:
        self._db = db
        self._now = now
        self._due_at = now + timedelta(seconds=settle_s)
        # Days as they are with what was added.
        self._held: dict[Place, HeldDay] = {}
        self._laid: dict[Place, LaidDay] = {}
        self._differing: dict[Place, Block] = {}
        self._marks: dict[Place, datetime] = {}
        self._counted: dict[int, Counted] = {}
        self._shares = self._alone = False  # the locks of values, of whole days

    def add(self, site: OpenSite, rows: Block, *, size_bytes: int) -> Pushed:
        """Lay a batch into the days of its site.

        Raises
        ------
        ConflictError : a whole day of exactly these values is stored for another site
        """
        told = parse_site(site.text).log.stamp or "end"
        stored: Literal["end", "start"] = "start" if (site.stamp or told) == "start" else "end"
        sent = len(rows)
        rows = restamped(on_their_days(rows, timezone=site.timezone), told, stored=stored)
        parts = split_days(rows)
        closed = take_closed(self._db, site_id=site.id, parts=parts, until=site.closed_until)
        self._load(site, sorted(parts))
        self._refuse_of_others(site, parts)
        if site.stamp is None:
            site.stamp = stored
            push_queries.set_stamp(self._db, site_id=site.id, stamp=stored)
        upload_id = self._upload(site)
        known = {name for day in parts for name in self._columns(site, day)}
        new = changed = 0
        changes: dict[date, Change] = {}
        for day, part in parts.items():
            one = self._lay(site, day, Layer(number=upload_id, block=part, pushed=True))
            changes[day] = one.change
            new, changed = new + one.change.new, changed + one.change.changed
        free_neighbours(
            self._db,
            site_id=site.id,
            timezone=site.timezone,
            changes=changes,
            until=site.closed_until,
        )
        # What a block of these days holds was seen before; most batches need not ask further.
        self._see(site, rows.columns.keys() - known if parts else set())
        # Figures of days may have got a row of their own.
        new, left_out = min(new, sent), min(closed, sent)
        taken = min(sum(map(len, parts.values())), sent) if closed else sent
        counted = self._counted.setdefault(upload_id, Counted())
        counted.size_bytes += size_bytes
        counted.rows += sent
        counted.new += new
        counted.left_out += left_out
        why = (
            f"{left_out_words(left_out)}, and will be if they are sent again" if left_out else None
        )
        return Pushed(accepted=taken, new=new, changed=changed, left_out=left_out, why=why)

    def write(self) -> None:
        """Write what was gathered."""
        blocks = {place: seal(block) for place, block in sorted(self._differing.items())}
        queries.write_blocks(self._db, blocks)
        layer_queries.write_layers(self._db, dict(sorted(self._laid.items())))
        queries.write_marks(self._db, dict(sorted(self._marks.items())))
        push_queries.count_pushes(self._db, self._counted, now=self._now)
        for upload_id, counted in self._counted.items():
            if counted.left_out:
                total = push_queries.left_out_of(self._db, upload_id=upload_id)
                said = left_out_words(total)
                push_queries.set_message(self._db, upload_id=upload_id, message=said)

    def _refuse_of_others(self, site: OpenSite, parts: Mapping[date, Block]) -> None:
        hashes = {day: values_hash(part) for day, part in parts.items()}
        told = [one for one in hashes.values() if one is not None]
        if not told:
            return
        if not self._shares:
            shared(self._db, VALUES_LOCK)
            self._shares = True
        if not self._alone and self._may_be_whole(site, parts, hashes):
            one_at_a_time(self._db, WHOLE_DAYS_LOCK)
            self._alone = True
        other = queries.site_with_values(self._db, hashes=told, but_site_id=site.id)
        other = other or self._gathered(site, parts, hashes)
        if other is not None:
            raise ConflictError(
                of_another(
                    "batch",
                    "a whole day of exactly these values is",
                    other=other,
                    site=self._db.get_one(Site, site.id),
                )
            )

    def _may_be_whole(
        self, site: OpenSite, parts: Mapping[date, Block], hashes: Mapping[date, str | None]
    ) -> bool:
        """Tell whether a day may come to be what this batch says of it, and nothing else.

        Two sites' batches of equal values look for each other's stored days; written at the same
        moment by two writers, both of such would find nothing.
        """
        return any(
            hashes[day] is not None and len(part) >= self._rows(site, day)
            for day, part in parts.items()
        )

    def _gathered(
        self, site: OpenSite, parts: Mapping[date, Block], hashes: Mapping[date, str | None]
    ) -> Site | None:
        """Give another site that has a day of these values among what is not written yet."""
        for (site_id, day), block in self._differing.items():
            same = site_id != site.id and day in parts and len(block) == len(parts[day])
            if same and hashes[day] is not None and values_hash(block) == hashes[day]:
                return self._db.get_one(Site, site_id)
        return None

    def _upload(self, site: OpenSite) -> int:
        """Give the upload that counts what the gateway pushes today."""
        if site.upload_id is None:
            site.upload_id = push_queries.add_pushes_of(self._db, site_id=site.id, now=self._now)
        return site.upload_id

    def _load(self, site: OpenSite, days: Sequence[date]) -> None:
        lacking = [day for day in days if (site.id, day) not in self._held]
        if lacking:
            found = layer_queries.load_days(self._db, site_id=site.id, days=lacking)
            self._held |= {(site.id, day): held for day, held in found.items()}

    def _rows(self, site: OpenSite, day: date) -> int:
        held = self._held.get((site.id, day))
        return 0 if held is None else len(held.block)

    def _columns(self, site: OpenSite, day: date) -> Sequence[str]:
        held = self._held.get((site.id, day))
        return () if held is None else tuple(held.block.columns)

    def _lay(self, site: OpenSite, day: date, layer: Layer) -> LaidDay:
        place = site.id, day
        held = self._held.get(place)
        one = laid(held, with_layer(held, layer))
        assert one.block is not None
        self._held[place] = HeldDay(block=one.block, layers=one.layers)
        self._laid[place] = one
        if one.differs:
            self._differing[place] = one.block
        if one.change.touched_s.shape[0]:
            for touched in local_days(one.change.touched_s, timezone=site.timezone):
                self._marks[site.id, touched] = self._due_at
        return one

    def _see(self, site: OpenSite, channels: set[str]) -> None:
        """Note channels; one that was never seen before concerns every day."""
        unseen = channels - queries.channels_seen(self._db, site.id) if channels else channels
        if unseen:
            queries.add_channels(self._db, site_id=site.id, channels=unseen)
            queries.mark_everything(self._db, site_id=site.id, due_at=self._due_at)
