"""Who gets mail, and the mails that wait to be sent."""

from datetime import datetime
from typing import Any

from sqlalchemy import (
    JSON,
    ForeignKey,
    Index,
    LargeBinary,
    String,
    Text,
    UniqueConstraint,
    false,
    true,
)
from sqlalchemy.orm import Mapped, mapped_column

from service.db.base import Base, UtcDateTime


class Recipient(Base):
    """Somebody who gets the weekly digest and urgent findings.

    Clock times are local ones in the recipient's zone: the digest leaves on `digest_weekday`
    (Monday is 0) from `digest_hour` on, quiet hours are `HH:MM`; equal ones mean none. Without
    `every_site` it is about the sites of `RecipientSite`. `skip_unchanged` saves the mail of a week
    in which nothing changed. `told` is what the last digest said of each finding (see
    `dashboards.digest_changes`), None before the first.

    `refusals` counts how often in a row the mail server refused the address for good; after a few
    nothing more is sent there from `paused_at` on.
    """

    __tablename__ = "recipient"
    __table_args__ = (UniqueConstraint("firm_id", "address"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    firm_id: Mapped[int] = mapped_column(ForeignKey("firm.id", ondelete="CASCADE"))
    address: Mapped[str] = mapped_column(String(254))
    name: Mapped[str] = mapped_column(String(200), default="")
    timezone: Mapped[str] = mapped_column(String(64))
    digest: Mapped[bool] = mapped_column(default=True)
    digest_weekday: Mapped[int] = mapped_column(default=0, server_default="0")
    digest_hour: Mapped[int] = mapped_column(default=6, server_default="6")
    every_site: Mapped[bool] = mapped_column(default=True, server_default=true())
    skip_unchanged: Mapped[bool] = mapped_column(default=False, server_default=false())
    told: Mapped[dict[str, Any] | None] = mapped_column(JSON)
    urgent: Mapped[bool] = mapped_column(default=True)
    quiet_from: Mapped[str] = mapped_column(String(5), default="21:00")
    quiet_until: Mapped[str] = mapped_column(String(5), default="07:00")
    refusals: Mapped[int] = mapped_column(default=0, server_default="0")
    refused_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    refused_why: Mapped[str | None] = mapped_column(String(500))
    paused_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)


class RecipientSite(Base):
    """A site that a recipient chose to hear of."""

    __tablename__ = "recipient_site"

    recipient_id: Mapped[int] = mapped_column(
        ForeignKey("recipient.id", ondelete="CASCADE"), primary_key=True
    )
    site_id: Mapped[int] = mapped_column(
        ForeignKey("site.id", ondelete="CASCADE"), primary_key=True, index=True
    )


class Outbox(Base):
    """A mail as it will be sent; `state` is `waiting`, `sent` or `failed`.

    One about an urgent finding names its site, kind and sensor, so that it can be withdrawn when
    the finding ends while the mail still waits. `stop_url` is where its reader stops such mail.
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
    stop_url: Mapped[str | None] = mapped_column(String(500))
    state: Mapped[str] = mapped_column(String(10), default="waiting")
    tries: Mapped[int] = mapped_column(default=0)
    problem: Mapped[str | None] = mapped_column(Text)
    not_before: Mapped[datetime] = mapped_column(UtcDateTime)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    sent_at: Mapped[datetime | None] = mapped_column(UtcDateTime)


class OutboxPart(Base):
    """A picture inside a mail (with `cid`), or a file that goes with it."""

    __tablename__ = "outbox_part"

    id: Mapped[int] = mapped_column(primary_key=True)
    outbox_id: Mapped[int] = mapped_column(ForeignKey("outbox.id", ondelete="CASCADE"), index=True)
    cid: Mapped[str | None] = mapped_column(String(60))
    name: Mapped[str] = mapped_column(String(100))
    media_type: Mapped[str] = mapped_column(String(60))
    content: Mapped[bytes] = mapped_column(LargeBinary)
