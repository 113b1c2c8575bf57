"""What a customer agreed to, and the papers that stay when an installation is erased."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import JSON, Date, ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from service.db.base import Base, UtcDateTime


class Consent(Base):
    """That somebody agreed to something, and perhaps withdrew it.

    `purpose` is one of `service.privacy.purposes.PURPOSES`; `given_by` who agreed, `how` the words
    or paper it rests on; `recorded_by` who noted it here.
    """

    __tablename__ = "consent"

    id: Mapped[int] = mapped_column(primary_key=True)
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id", ondelete="CASCADE"), index=True)
    purpose: Mapped[str] = mapped_column(String(30))
    given_by: Mapped[str] = mapped_column(String(200))
    given_on: Mapped[date] = mapped_column(Date)
    how: Mapped[str] = mapped_column(Text, default="")
    recorded_by: Mapped[str] = mapped_column(String(200))
    recorded_at: Mapped[datetime] = mapped_column(UtcDateTime)
    withdrawn_by: Mapped[str | None] = mapped_column(String(200))
    withdrawn_at: Mapped[datetime | None] = mapped_column(UtcDateTime)


class KeptPapers(Base):
    """Warranty papers that outlive an erased installation, without name, place or days of a log.

    `reference` is what the customer's own papers are marked with. They are erased by themselves
    after `keep_until`.
    """

    __tablename__ = "kept_papers"

    id: Mapped[int] = mapped_column(primary_key=True)
    firm_id: Mapped[int] = mapped_column(ForeignKey("firm.id", ondelete="CASCADE"), index=True)
    reference: Mapped[str] = mapped_column(String(20), unique=True)
    why: Mapped[str] = mapped_column(Text)
    papers: Mapped[dict[str, Any]] = mapped_column(JSON)
    kept_by: Mapped[str] = mapped_column(String(200))
    kept_at: Mapped[datetime] = mapped_column(UtcDateTime)
    keep_until: Mapped[date] = mapped_column(Date)
