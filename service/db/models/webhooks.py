"""Where other programs are told of events, and what was told."""

from datetime import datetime

from sqlalchemy import JSON, ForeignKey, Index, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from service.db.base import Base, UtcDateTime


class Webhook(Base):
    """An address that a firm wants told, of which events, and the secret that signs.

    The secret has to be kept as it is, because each message is signed with it. `failing_since` is
    when the first of a row of vain tries was; after days of them nothing is sent from `paused_at`
    on.
    """

    __tablename__ = "webhook"

    id: Mapped[int] = mapped_column(primary_key=True)
    firm_id: Mapped[int] = mapped_column(ForeignKey("firm.id", ondelete="CASCADE"), index=True)
    url: Mapped[str] = mapped_column(String(2000))
    events: Mapped[list[str]] = mapped_column(JSON)
    secret: Mapped[str] = mapped_column(String(100))
    made_by: Mapped[str] = mapped_column(String(200))
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    failing_since: Mapped[datetime | None] = mapped_column(UtcDateTime)
    paused_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
    problem: Mapped[str | None] = mapped_column(Text)


class WebhookDelivery(Base):
    """A message to a webhook; `state` is `waiting`, `sent` or `failed`.

    `event_id` is the same however often it is tried, so that who gets it twice can tell.
    """

    __tablename__ = "webhook_delivery"
    __table_args__ = (
        UniqueConstraint("webhook_id", "event_id"),
        Index(None, "state", "not_before"),
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    webhook_id: Mapped[int] = mapped_column(ForeignKey("webhook.id", ondelete="CASCADE"))
    event: Mapped[str] = mapped_column(String(40))
    event_id: Mapped[str] = mapped_column(String(80))
    body: Mapped[str] = mapped_column(Text)
    state: Mapped[str] = mapped_column(String(10), default="waiting")
    tries: Mapped[int] = mapped_column(default=0)
    status: Mapped[int | None] = mapped_column()
    problem: Mapped[str | None] = mapped_column(Text)
    not_before: Mapped[datetime] = mapped_column(UtcDateTime)
    created_at: Mapped[datetime] = mapped_column(UtcDateTime)
    done_at: Mapped[datetime | None] = mapped_column(UtcDateTime)
