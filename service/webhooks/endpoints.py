"""Webhooks over HTTP."""

from fastapi import APIRouter

from service.context import Here, RowId
from service.db.models import Webhook, WebhookDelivery
from service.webhooks import actions, queries
from service.webhooks.schemas import DeliveryShown, WebhookMade, WebhookShown, WebhookWanted

router = APIRouter(prefix="/api/webhooks", tags=["webhooks"])

_LISTED = 100


@router.get("", summary="List the firm's webhooks")
def list_webhooks(here: Here) -> list[WebhookShown]:
    """Give the webhooks without their secrets."""
    with here.database.reading() as db:
        caller = here.person(db, may="govern")
        return [shown(one) for one in queries.webhooks_of(db, firm_id=caller.firm_id)]


@router.post("", status_code=201, summary="Set a webhook up")
def make(here: Here, wanted: WebhookWanted) -> WebhookMade:
    """Have an address told of events; the secret that signs the messages is shown this once."""
    with here.database.session() as db:
        caller = here.person(db, may="govern")
        found = actions.make(
            db,
            firm_id=caller.firm_id,
            url=wanted.url,
            events=wanted.events,
            settings=here.settings,
            who=caller.who,
            now=here.now(),
        )
        return WebhookMade(**shown(found).model_dump(), secret=found.secret)


@router.delete("/{webhook_id}", status_code=204, summary="Remove a webhook")
def remove(here: Here, webhook_id: RowId) -> None:
    """Tell an address no more."""
    with here.database.session() as db:
        caller = here.person(db, may="govern")
        db.delete(actions.webhook_of(db, firm_id=caller.firm_id, webhook_id=webhook_id))


@router.post("/{webhook_id}/test", status_code=202, summary="Send a test message")
def send_test(here: Here, webhook_id: RowId) -> DeliveryShown:
    """Lay a test message out; the worker sends it within a minute."""
    with here.database.session() as db:
        caller = here.person(db, may="govern")
        webhook = actions.webhook_of(db, firm_id=caller.firm_id, webhook_id=webhook_id)
        return _delivery(actions.send_test(db, webhook=webhook, now=here.now()))


@router.post("/{webhook_id}/resume", summary="Tell a paused address again")
def resume(here: Here, webhook_id: RowId) -> WebhookShown:
    """Send to an address again that was paused after days of vain tries."""
    with here.database.session() as db:
        caller = here.person(db, may="govern")
        webhook = actions.webhook_of(db, firm_id=caller.firm_id, webhook_id=webhook_id)
        actions.resume(webhook)
        return shown(webhook)


@router.get("/{webhook_id}/deliveries", summary="List what was sent")
def list_deliveries(here: Here, webhook_id: RowId) -> list[DeliveryShown]:
    """Give the newest messages to a webhook, and what came of them."""
    with here.database.reading() as db:
        caller = here.person(db, may="govern")
        webhook = actions.webhook_of(db, firm_id=caller.firm_id, webhook_id=webhook_id)
        found = queries.deliveries_of(db, webhook_id=webhook.id, limit=_LISTED)
        return [_delivery(one) for one in found]


def shown(one: Webhook) -> WebhookShown:
    """Give a webhook as the API shows it."""
    return WebhookShown.model_validate(one, from_attributes=True)


def _delivery(one: WebhookDelivery) -> DeliveryShown:
    return DeliveryShown.model_validate(one, from_attributes=True)
