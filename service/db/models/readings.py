"""Uploads, the stored rows, and the days that still have to be analysed."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    Date,
    ForeignKey,
    Index,
    LargeBinary,
    String,
    Text,
    UniqueConstraint,
)
from sqlalchemy.orm import Mapped, mapped_column

from service.db.base import Base, UtcDateTime


class Upload(Base):
    """A log that was handed in.

    `state` is `kept` (bytes are safe, not yet read), `stored` (its rows are in), `refused`
    (`message` says why and what to do), `asking` (a person has to say what its columns hold) or
    `undone` (its rows were taken out again). `files` says what was understood of each file in it,
    `problems` which rows or cells were set aside. Rows that a gateway pushes are counted on
    one upload per site and UTC day of arrival (`pushed_on`), which has no bytes of its own. Bytes
    that were removed for their age left at `bytes_gone_at`; name and hash still say what came.
    """

    __tablename__ = "upload"
    __table_args__ = (
        UniqueConstraint("site_id", "sha256"),
        UniqueConstraint("site_id", "pushed_on"),
        Index(None, "state"),
        Index(None, "sha256"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id", ondelete="CASCADE"), index=True)
    sha256: Mapped[str | None] = mapped_column(String(64))
    pushed_on: Mapped[date | None] = mapped_column(Date)
    name: Mapped[str] = mapped_column(String(300))
    size_bytes: Mapped[int] = mapped_column(BigInteger)
    via: Mapped[str] = mapped_column(String(10))
    state: Mapped[str] = mapped_column(String(10))
    message: Mapped[str | None] = mapped_column(Text)
    rows_read: Mapped[int] = mapped_column(default=0)
    rows_kept: Mapped[int] = mapped_column(default=0)
    rows_duplicate: Mapped[int] = mapped_column(default=0)
    rows_rejected: Mapped[int] = mapped_column(default=0)
    problems: Mapped[list[dict[str, Any]]] = mapped_column(JSON, default=list)
    files: Mapped[list[dict[str, Any]]] = mapped_column(JSON, default=list)
    received_at: Mapped[datetime] = mapped_column(UtcDateTime)
    settled_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    bytes_gone_at: Mapped[datetime | None] = mapped_column(UtcDateTime)


class DayBlock(Base):
    """All rows of one site and UTC day as one compressed block (`service.ingest.blocks`).

    `values_hash` is equal for equal rows, whatever file they came from; None where the day has
    too few distinct values to prove anything. As `data` is packed already, PostgreSQL keeps it as
    it is, here and in `DayLayer`.
    """

    __tablename__ = "day_block"
    __table_args__ = (Index(None, "values_hash"),)

    site_id: Mapped[int] = mapped_column(
        ForeignKey("site.id", ondelete="CASCADE"), primary_key=True
    )
    day: Mapped[date] = mapped_column(Date, primary_key=True)
    rows: Mapped[int]
    data: Mapped[bytes] = mapped_column(LargeBinary)
    values_hash: Mapped[str | None] = mapped_column(String(64))


class DayLayer(Base):
    """What one upload says of one UTC day: a layer of the day's block.

    `data` is None while it is the day's only layer: then the block is it. `replaced` says how many
    of its rows each later upload replaced. `upload_id` is 0 for rows that were stored before
    layers were kept. `pushed` marks rows of a gateway.
    """

    __tablename__ = "day_layer"

    site_id: Mapped[int] = mapped_column(
        ForeignKey("site.id", ondelete="CASCADE"), primary_key=True
    )
    day: Mapped[date] = mapped_column(Date, primary_key=True)
    upload_id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    pushed: Mapped[bool] = mapped_column(default=False)
    rows: Mapped[int]
    data: Mapped[bytes | None] = mapped_column(LargeBinary)
    replaced: Mapped[dict[str, int]] = mapped_column(JSON, default=dict)


class RolledDay(Base):
    """A UTC day whose rows are not kept as they came any more (`service.retention`).

    `kind` is `means`: the day's block holds five-minute means (`analysis.rollup`), `extremes` the
    lowest and highest values of its hours (`service.ingest.rolled`); or `gone`: there is no block.
    `rows` is how many rows there were. What the days showed stays in `DayRow`, held.
    """

    __tablename__ = "rolled_day"
    # How far a site's days are rolled up stands on its page; the rows bear their extremes.
    __table_args__ = (Index(None, "site_id", "kind", "day"),)

    site_id: Mapped[int] = mapped_column(
        ForeignKey("site.id", ondelete="CASCADE"), primary_key=True
    )
    day: Mapped[date] = mapped_column(Date, primary_key=True)
    kind: Mapped[str] = mapped_column(String(10))
    rows: Mapped[int]
    extremes: Mapped[bytes | None] = mapped_column(LargeBinary)
    rolled_at: Mapped[datetime] = mapped_column(UtcDateTime)


class ChannelSeen(Base):
    """A channel that the site has ever logged."""

    __tablename__ = "channel_seen"

    site_id: Mapped[int] = mapped_column(
        ForeignKey("site.id", ondelete="CASCADE"), primary_key=True
    )
    channel: Mapped[str] = mapped_column(String(40), primary_key=True)


class DayMark(Base):
    """A local civil day that has to be analysed again.

    `serial` rises whenever the day is marked once more, so that an analysis clears only the marks
    whose data it has seen.
    """

    __tablename__ = "day_mark"

    site_id: Mapped[int] = mapped_column(
        ForeignKey("site.id", ondelete="CASCADE"), primary_key=True
    )
    date: Mapped[date] = mapped_column(Date, primary_key=True)
    serial: Mapped[int] = mapped_column(default=1)
    due_at: Mapped[datetime] = mapped_column(UtcDateTime, index=True)
