"""Customers' addresses, and the letters that went there."""

from datetime import datetime

from sqlalchemy import ForeignKey, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from service.db.base import Base, UtcDateTime


class CustomerContact(Base):
    """Where the customer of a site gets letters, and in which language of the sheet."""

    __tablename__ = "customer_contact"

    site_id: Mapped[int] = mapped_column(
        ForeignKey("site.id", ondelete="CASCADE"), primary_key=True
    )
    name: Mapped[str] = mapped_column(String(200), default="")
    address: Mapped[str] = mapped_column(String(254))
    language: Mapped[str] = mapped_column(String(10))
    changed_at: Mapped[datetime] = mapped_column(UtcDateTime)


class YearlyLetter(Base):
    """A letter about a year, chosen by a person; the worker writes it and lays it out.

    `serial` is 0 for the first of a year; somebody who sends it again makes the next. It is in the
    outbox from `laid_at` on, under `message_id`.
    """

    __tablename__ = "yearly_letter"
    __table_args__ = (UniqueConstraint("site_id", "year", "serial"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    site_id: Mapped[int] = mapped_column(ForeignKey("site.id", ondelete="CASCADE"))
    year: Mapped[int] = mapped_column()
    serial: Mapped[int] = mapped_column()
    chosen_by: Mapped[str] = mapped_column(String(200))
    chosen_at: Mapped[datetime] = mapped_column(UtcDateTime)
    laid_at: Mapped[datetime | None] = mapped_column(UtcDateTime, index=True)
    message_id: Mapped[str | None] = mapped_column(String(250))
    tries: Mapped[int] = mapped_column(default=0, server_default="0")
    problem: Mapped[str | None] = mapped_column(Text)
