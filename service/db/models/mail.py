"""Who gets mail, and the mails that wait to be sent."""

from datetime import datetime

from sqlalchemy import ForeignKey, Index, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from service.db.base import Base, UtcDateTime


class Recipient(Base):
    """Somebody who gets the weekly digest and urgent findings.

    Quiet hours are local clock times `HH:MM` in the recipient's zone; equal ones mean none.
    """

    __tablename__ = "recipient"
    __table_args__ = (UniqueConstraint("firm_id", "address"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    firm_id: Mapped[int] = mapped_column(ForeignKey("firm.id", ondelete="CASCADE"))
    address: Mapped[str] = mapped_column(String(254))
    name: Mapped[str] = mapped_column(String(200), default="")
    timezone: Mapped[str] = mapped_column(String(64))
    digest: Mapped[bool] = mapped_column(default=True)
    urgent: Mapped[bool] = mapped_column(default=True)
    quiet_from: Mapped[str] = mapped_column(String(5), default="21:00")
    quiet_until: Mapped[str] = mapped_column(String(5), default="07:00")
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)


class Outbox(Base):
    """A mail as it will be sent; `state` is `waiting`, `sent` or `failed`.

    One about an urgent finding names its site, kind and sensor, so that it can be withdrawn when
    the finding ends while the mail still waits.
    """

    __tablename__ = "outbox"
    __table_args__ = (Index(None, "state", "not_before"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    firm_id: Mapped[int] = mapped_column(ForeignKey("firm.id", ondelete="CASCADE"), index=True)
    site_id: Mapped[int | None] = mapped_column(
        ForeignKey("site.id", ondelete="CASCADE"), index=True
    )
    kind: Mapped[str | None] = mapped_column(String(60))
    channel: Mapped[str | None] = mapped_column(String(40))
    message_id: Mapped[str] = mapped_column(String(250), unique=True)
    recipient: Mapped[str] = mapped_column(String(254))
    subject: Mapped[str] = mapped_column(String(500))
    text: Mapped[str] = mapped_column(Text)
    html: Mapped[str] = mapped_column(Text)
    state: Mapped[str] = mapped_column(String(10), default="waiting")
    tries: Mapped[int] = mapped_column(default=0)
    problem: Mapped[str | None] = mapped_column(Text)
    not_before: Mapped[datetime] = mapped_column(UtcDateTime)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    sent_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
