"""Visits: what was planned, what was typed on the spot, and the photos."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import JSON, Date, ForeignKey, Index, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from service.db.base import Base, UtcDateTime


class Visit(Base):
    """A visit to a site.

    `state` is `planned`, `finished` or `dropped`. `findings` are what it is to look at, each with
    the words it had when the visit was planned (`service.visits.schemas.PlannedFinding`), so that
    the record can be read when the finding is long gone. `facts_kept` says what of it went into
    the site's file when it was finished.
    """

    __tablename__ = "visit"

    id: Mapped[int] = mapped_column(primary_key=True)
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id", ondelete="CASCADE"), index=True)
    planned_on: Mapped[date] = mapped_column(Date, index=True)
    technician_id: Mapped[int | None] = mapped_column(
        ForeignKey("account.id", ondelete="SET NULL"), index=True
    )
    note: Mapped[str] = mapped_column(Text, default="")
    state: Mapped[str] = mapped_column(String(10), default="planned")
    findings: Mapped[list[dict[str, Any]]] = mapped_column(JSON, default=list)
    facts_kept: Mapped[list[str]] = mapped_column(JSON, default=list)
    made_by: Mapped[str] = mapped_column(String(200))
    made_at: Mapped[datetime] = mapped_column(UtcDateTime)
    finished_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    finished_by: Mapped[str | None] = mapped_column(String(200))


class VisitSave(Base):
    """One save of a phone or a browser; its key makes it count once however often it is sent."""

    __tablename__ = "visit_save"

    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id", ondelete="CASCADE"), index=True)
    key: Mapped[str] = mapped_column(String(36), unique=True)
    who: Mapped[str] = mapped_column(String(200))
    received_at: Mapped[datetime] = mapped_column(UtcDateTime)


class VisitEntry(Base):
    """What somebody typed into one field; nothing is overwritten.

    The entry typed last counts (`typed_at`, then the one that came last).
    """

    __tablename__ = "visit_entry"
    __table_args__ = (Index(None, "visit_id", "field"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id", ondelete="CASCADE"))
    save_id: Mapped[int] = mapped_column(ForeignKey("visit_save.id", ondelete="CASCADE"))
    field: Mapped[str] = mapped_column(String(200))
    value: Mapped[str] = mapped_column(Text)
    who: Mapped[str] = mapped_column(String(200))
    typed_at: Mapped[datetime] = mapped_column(UtcDateTime)


class VisitPhoto(Base):
    """A photo of a visit; its bytes stand under their checksum among the raw files."""

    __tablename__ = "visit_photo"
    __table_args__ = (Index(None, "sha256"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    visit_id: Mapped[int] = mapped_column(ForeignKey("visit.id", ondelete="CASCADE"), index=True)
    key: Mapped[str] = mapped_column(String(36), unique=True)
    sha256: Mapped[str] = mapped_column(String(64))
    media_type: Mapped[str] = mapped_column(String(20))
    size_bytes: Mapped[int]
    width_px: Mapped[int]
    height_px: Mapped[int]
    who: Mapped[str] = mapped_column(String(200))
    taken_in_at: Mapped[datetime] = mapped_column(UtcDateTime)
