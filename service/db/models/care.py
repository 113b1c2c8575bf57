"""What people do about findings."""

from datetime import date, datetime

from sqlalchemy import Date, ForeignKey, Index, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from service.db.base import Base, UtcDateTime


class FindingCase(Base):
    """A finding that somebody took up; `FindingSeen.case_id` says which finding it is now.

    `state` is one of `service.care.life.STATES`. While it is set aside, `until` says how long;
    `urgency_then` is how urgent it was when it was set aside, because what gets worse comes back.
    """

    __tablename__ = "finding_case"

    id: Mapped[int] = mapped_column(primary_key=True)
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id", ondelete="CASCADE"), index=True)
    kind: Mapped[str] = mapped_column(String(60))
    channel: Mapped[str | None] = mapped_column(String(40))
    state: Mapped[str] = mapped_column(String(20))
    since: Mapped[datetime] = mapped_column(UtcDateTime)
    until: Mapped[date | None] = mapped_column(Date)
    urgency_then: Mapped[str | None] = mapped_column(String(10))
    put_right_at: Mapped[datetime | None] = mapped_column(UtcDateTime)


class CaseEvent(Base):
    """A step in a case's life: who, when, to which state, and what they wrote."""

    __tablename__ = "case_event"
    __table_args__ = (Index(None, "case_id"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    case_id: Mapped[int] = mapped_column(ForeignKey("finding_case.id", ondelete="CASCADE"))
    at: Mapped[datetime] = mapped_column(UtcDateTime)
    who: Mapped[str] = mapped_column(String(200))
    state: Mapped[str] = mapped_column(String(20))
    note: Mapped[str] = mapped_column(Text, default="")
