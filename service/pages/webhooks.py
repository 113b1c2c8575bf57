"""Webhooks on their page: setting up, testing, seeing what came of it."""

from typing import Annotated

from fastapi import APIRouter, Form, Query, Response

from service.context import Context, Here, RowId
from service.db.models import Webhook
from service.errors import InvalidError
from service.pages.answers import page, see_other
from service.webhooks import actions, queries
from service.webhooks.events import EVENTS

router = APIRouter(include_in_schema=False)

_LISTED = 20
_MESSAGES = {
    "tested": "A test message is on its way; reload the page in a minute to see what came of it.",
    "resumed": "It is told again.",
    "removed": "Removed; nothing more is sent there.",
}


@router.get("/webhooks")
def show(here: Here, message: Annotated[str | None, Query()] = None) -> Response:
    """Show the firm's webhooks and what was sent to them."""
    return _page(here, message=_MESSAGES.get(message or ""))


def _page(
    here: Context,
    *,
    message: str | None = None,
    secret: str | None = None,
    errors: dict[str, str] | None = None,
    url: str = "",
) -> Response:
    with here.database.reading() as db:
        caller = here.person(db, may="govern")
        found = [
            {
                "id": one.id,
                "url": one.url,
                "events": one.events,
                "paused": one.paused_at is not None,
                "problem": one.problem,
                "deliveries": [
                    {
                        "at": f"{sent.created_at:%Y-%m-%d %H:%M}",
                        "event": sent.event,
                        "state": sent.state,
                        "tries": sent.tries,
                        "problem": sent.problem,
                    }
                    for sent in queries.deliveries_of(db, webhook_id=one.id, limit=_LISTED)
                ],
            }
            for one in queries.webhooks_of(db, firm_id=caller.firm_id)
        ]
    return page(
        "webhooks.html",
        status=422 if errors else 200,
        webhooks=found,
        events=list(EVENTS.items()),
        message=message,
        secret=secret,
        errors=errors or {},
        url=url,
    )


@router.post("/webhooks")
def make(
    here: Here,
    event: Annotated[list[str], Form(default_factory=list)],
    url: Annotated[str, Form()] = "",
) -> Response:
    """Set a webhook up and show its secret this once."""
    try:
        with here.database.session() as db:
            caller = here.person(db, may="govern")
            made = actions.make(
                db,
                firm_id=caller.firm_id,
                url=url,
                events=event,
                settings=here.settings,
                who=caller.who,
                now=here.now(),
            )
    except InvalidError as error:
        return _page(here, errors={str(error.extra.get("field")): error.detail}, url=url)
    return _page(here, secret=made.secret)


@router.post("/webhooks/{webhook_id}/test")
def send_test(here: Here, webhook_id: RowId) -> Response:
    """Send a test message."""
    with here.database.session() as db:
        caller = here.person(db, may="govern")
        webhook = actions.webhook_of(db, firm_id=caller.firm_id, webhook_id=webhook_id)
        actions.send_test(db, webhook=webhook, now=here.now())
    return see_other("/webhooks?message=tested")


@router.post("/webhooks/{webhook_id}/resume")
def resume(here: Here, webhook_id: RowId) -> Response:
    """Tell a paused address again."""
    with here.database.session() as db:
        caller = here.person(db, may="govern")
        found: Webhook = actions.webhook_of(db, firm_id=caller.firm_id, webhook_id=webhook_id)
        actions.resume(found)
    return see_other("/webhooks?message=resumed")


@router.post("/webhooks/{webhook_id}/remove")
def remove(here: Here, webhook_id: RowId) -> Response:
    """Remove a webhook."""
    with here.database.session() as db:
        caller = here.person(db, may="govern")
        db.delete(actions.webhook_of(db, firm_id=caller.firm_id, webhook_id=webhook_id))
    return see_other("/webhooks?message=removed")
