"""All SQL about webhooks. Nothing here commits."""

from datetime import datetime

from sqlalchemy import bindparam, delete, or_, select, update
from sqlalchemy.orm import Session

from service.db.models import Webhook, WebhookDelivery
from service.db.moment import FAR_AHEAD, NOW, moment

WAITING = "waiting"
SENT = "sent"
FAILED = "failed"


_ANY = select(Webhook.id).where(Webhook.firm_id == bindparam("firm_id")).limit(1)


def any_webhook(db: Session, *, firm_id: int) -> bool:
    """Tell whether a firm has a webhook."""
    return db.connection().execute(_ANY, {"firm_id": firm_id}).first() is not None


def webhooks_of(db: Session, *, firm_id: int) -> list[Webhook]:
    """Give a firm's webhooks."""
    found = select(Webhook).where(Webhook.firm_id == firm_id)
    return list(db.scalars(found.order_by(Webhook.id)))


def any_paused(db: Session, *, firm_id: int) -> bool:
    """Tell whether a webhook of a firm is paused."""
    found = select(Webhook.id).where(Webhook.firm_id == firm_id, Webhook.paused_at.is_not(None))
    return db.scalar(found.limit(1)) is not None


def webhook_of(db: Session, *, firm_id: int, webhook_id: int) -> Webhook | None:
    """Give a webhook that the firm may see, to be changed."""
    found = db.get(Webhook, webhook_id, with_for_update=True)
    return found if found is not None and found.firm_id == firm_id else None


def deliveries_of(db: Session, *, webhook_id: int, limit: int) -> list[WebhookDelivery]:
    """Give what was sent to a webhook, the newest first."""
    found = select(WebhookDelivery).where(WebhookDelivery.webhook_id == webhook_id)
    return list(db.scalars(found.order_by(WebhookDelivery.id.desc()).limit(limit)))


def due(db: Session, *, now: datetime, limit: int) -> list[tuple[int, int]]:
    """Give numbers of messages that may leave, each with its webhook's, the oldest first."""
    found = (
        select(WebhookDelivery.id, WebhookDelivery.webhook_id)
        .join(Webhook, Webhook.id == WebhookDelivery.webhook_id)
        .where(
            WebhookDelivery.state == WAITING,
            # What waits for a time far ahead was written by a wrong clock.
            or_(WebhookDelivery.not_before <= NOW, WebhookDelivery.not_before > FAR_AHEAD),
            Webhook.paused_at.is_(None),
        )
        .order_by(WebhookDelivery.not_before, WebhookDelivery.id)
        .limit(limit)
    )
    return [(row[0], row[1]) for row in db.execute(found, moment(now))]


def drop_waiting(db: Session, *, webhook_id: int, why: str, now: datetime) -> None:
    """Give up what still waits for a webhook."""
    db.execute(
        update(WebhookDelivery)
        .where(WebhookDelivery.webhook_id == webhook_id, WebhookDelivery.state == WAITING)
        .values(state=FAILED, problem=why, done_at=now)
    )


def purge(db: Session, *, before: datetime) -> None:
    """Forget messages that were settled long ago."""
    db.execute(
        delete(WebhookDelivery).where(
            WebhookDelivery.state != WAITING, WebhookDelivery.done_at < before
        )
    )
