"""The one thing about mail that a person asks for directly: a test."""

from fastapi import APIRouter, Response
from fastapi.responses import RedirectResponse

from dashboards.mails import trial_mail
from service.context import Here, RowId
from service.digests import queries
from service.mail import outbox

router = APIRouter(include_in_schema=False)


@router.post("/settings/recipients/{recipient_id}/test")
def send_test(here: Here, recipient_id: RowId) -> Response:
    """Lay a test mail into the outbox; the worker sends it within minutes."""
    now = here.now()
    with here.database.session() as db:
        caller = here.person(db, may="arrange")
        found = queries.recipient_of(db, firm_id=caller.firm_id, recipient_id=recipient_id)
        what = f"test-{found.id}-{now:%Y%m%dT%H%M%S}"
        outbox.put(
            db,
            trial_mail(base_url=here.settings.public_url),
            firm_id=caller.firm_id,
            recipient=found.address,
            message_id=outbox.message_id(here.settings, what=what, address=found.address),
            not_before=now,
            now=now,
        )
    return RedirectResponse("/settings?message=tested", status_code=303)
