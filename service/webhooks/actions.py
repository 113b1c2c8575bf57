"""Use cases of webhooks: setting one up, noting events, sending what waits.

An event is noted in the transaction that it happens in. Sending is outside any transaction, one
claim for each message; a crash between the answer and its note sends a message twice, with the
same `webhook-id`.
"""

import json
import logging
import secrets
from collections.abc import Sequence
from datetime import datetime, timedelta
from urllib.parse import urlsplit

from sqlalchemy.orm import Session

from analysis.results import Report
from service.clock import Clock
from service.db.engine import Database
from service.db.models import Site, Webhook, WebhookDelivery
from service.errors import InvalidError, NotFoundError
from service.jobs import claims
from service.mail.send import pause_after
from service.outward import OutwardError, exchange, is_own
from service.settings import Settings, is_loopback
from service.webhooks import queries
from service.webhooks.events import EVENTS, TEST, Event, finding_events
from service.webhooks.signing import headers, new_secret

LOG = logging.getLogger("suntally.webhooks")

_LONGEST_URL = 2000
_MOST = 20
_AT_ONCE = 100
_TIMEOUT_S = 10.0
_DEADLINE_S = 20.0
_ANSWER_BYTES = 4096
LEASE = timedelta(minutes=2)
# With the pauses of mails a message is given up after a little more than two days.
_MOST_TRIES = 20
# An address that took nothing for so long is not asked again until somebody says so.
_PATIENCE = timedelta(days=3)
_GONE = 410


def make(
    db: Session,
    *,
    firm_id: int,
    url: str,
    events: Sequence[str],
    settings: Settings,
    who: str,
    now: datetime,
) -> Webhook:
    """Set a webhook up; its secret is shown this once.

    Raises
    ------
    InvalidError : an address or events that cannot be
    """
    wanted = [name for name in EVENTS if name in events]
    if not wanted or set(events) - set(EVENTS):
        raise InvalidError(f"Choose what is told: {', '.join(EVENTS)}.", field="events")
    if len(queries.webhooks_of(db, firm_id=firm_id)) >= _MOST:
        raise InvalidError(f"A firm has at most {_MOST} of them; remove one first.", field="url")
    found = Webhook(
        firm_id=firm_id,
        url=_checked(url.strip(), allow_private=settings.webhook_private_hosts),
        events=wanted,
        secret=new_secret(),
        made_by=who,
        created_at=now,
    )
    db.add(found)
    db.flush()
    return found


def _checked(url: str, *, allow_private: bool) -> str:
    try:
        parts = urlsplit(url)
        host, _ = parts.hostname or "", parts.port
    except ValueError:
        host, parts = "", urlsplit("")
    plain = parts.scheme == "http" and allow_private and is_loopback(host)
    if len(url) > _LONGEST_URL or not url.isascii() or not url.isprintable() or " " in url:
        raise InvalidError("The address is too long, or holds a sign that none has.", field="url")
    if not host or not (parts.scheme == "https" or plain):
        raise InvalidError("An address begins with https:// and names a host.", field="url")
    if parts.username is not None or parts.password is not None:
        raise InvalidError("Name and password before the host are not sent.", field="url")
    if not allow_private and is_own(host):
        raise InvalidError(
            "This address leads into the server's own network, which is not told; its operator "
            "can allow that with SUNTALLY_WEBHOOK_PRIVATE_HOSTS.",
            field="url",
        )
    return url


def webhook_of(db: Session, *, firm_id: int, webhook_id: int) -> Webhook:
    """Give a webhook of a firm.

    Raises
    ------
    NotFoundError : there is none of this number for the firm
    """
    found = queries.webhook_of(db, firm_id=firm_id, webhook_id=webhook_id)
    if found is None:
        raise NotFoundError("There is no such webhook.")
    return found


def resume(webhook: Webhook) -> None:
    """Tell an address again that was paused."""
    webhook.paused_at = webhook.failing_since = webhook.problem = None


def send_test(db: Session, *, webhook: Webhook, now: datetime) -> WebhookDelivery:
    """Note a message that only shows that messages arrive."""
    data = {"says": "This was asked for with the test button."}
    return _note(db, webhook, Event(name=TEST, data=data), now=now)


def tell_of_report(
    db: Session, *, site: Site, before: Report | None, report: Report, now: datetime
) -> None:
    """Note what a new report of a site brings."""
    tell(db, site=site, events=finding_events(before, report), now=now)


def tell_of_refusal(db: Session, *, site: Site, name: str, why: str, now: datetime) -> None:
    """Note that a log was refused."""
    event = Event(name="upload.refused", data={"file": name, "why": why})
    tell(db, site=site, events=[event], now=now)


def is_listened_to(db: Session, *, firm_id: int) -> bool:
    """Tell whether a firm has a webhook at all."""
    return queries.any_webhook(db, firm_id=firm_id)


def tell(db: Session, *, site: Site, events: Sequence[Event], now: datetime) -> None:
    """Note events of a site for every webhook that wants them."""
    if not events or site.invented:
        return
    about = {"site": {"slug": site.slug, "name": site.name}}
    for webhook in queries.webhooks_of(db, firm_id=site.firm_id):
        if webhook.paused_at is not None:
            continue
        for event in events:
            if event.name in webhook.events:
                _note(db, webhook, Event(name=event.name, data={**about, **event.data}), now=now)


def _note(db: Session, webhook: Webhook, event: Event, *, now: datetime) -> WebhookDelivery:
    body = {
        "type": event.name,
        "timestamp": f"{now:%Y-%m-%dT%H:%M:%SZ}",
        "data": event.data,
    }
    delivery = WebhookDelivery(
        webhook_id=webhook.id,
        event=event.name,
        event_id=f"msg_{secrets.token_hex(16)}",
        body=json.dumps(body, separators=(",", ":")),
        state=queries.WAITING,
        tries=0,
        not_before=now,
        created_at=now,
    )
    db.add(delivery)
    db.flush()
    return delivery


def send_due(database: Database, *, settings: Settings, clock: Clock, holder: str) -> int:
    """Send what may leave now; gives how many messages were taken.

    Where one does not get through, the others for that address wait for the next round.
    """
    with database.reading() as db:
        waiting = queries.due(db, now=clock.now(), limit=_AT_ONCE)
    taken = 0
    silent: set[int] = set()
    for delivery_id, webhook_id in waiting:
        if webhook_id in silent:
            continue
        got = _send(database, delivery_id, settings=settings, clock=clock, holder=holder)
        taken += got is True
        if got is False:
            silent.add(webhook_id)
    return taken


def _send(
    database: Database, delivery_id: int, *, settings: Settings, clock: Clock, holder: str
) -> bool | None:
    """Send one message; None where somebody else has it or it is settled."""
    key, now = f"webhook:{delivery_id}", clock.now()
    with database.session() as db:
        if not claims.claim(db, key=key, holder=holder, now=now, until=now + LEASE):
            return None
        delivery = db.get(WebhookDelivery, delivery_id)
        webhook = db.get(Webhook, delivery.webhook_id) if delivery is not None else None
        if delivery is None or webhook is None or delivery.state != queries.WAITING:
            claims.finish(db, key=key, holder=holder)
            return None
        url, secret, body = webhook.url, webhook.secret, delivery.body.encode()
        event_id = delivery.event_id
    status, problem = None, None
    try:
        answer = exchange(
            url,
            method="POST",
            headers=headers(secret, event_id=event_id, timestamp_s=int(now.timestamp()), body=body),
            body=body,
            limit_bytes=_ANSWER_BYTES,
            allow_private=settings.webhook_private_hosts,
            allowed_by="SUNTALLY_WEBHOOK_PRIVATE_HOSTS",
            timeout_s=_TIMEOUT_S,
            deadline_s=_DEADLINE_S,
        )
        status = answer.status
        if not 200 <= status < 300:
            problem = f"it answered {status}, where 200 to 299 means that it was taken"
    except OutwardError as error:
        problem = str(error)
    with database.session() as db:
        claims.finish(db, key=key, holder=holder)
        delivery = db.get(WebhookDelivery, delivery_id)
        webhook = db.get(Webhook, delivery.webhook_id) if delivery is not None else None
        if delivery is not None and webhook is not None:
            delivery.tries += 1
            delivery.status, delivery.problem = status, problem
            _settle(db, webhook, delivery, now=clock.now())
    return problem is None


def _settle(db: Session, webhook: Webhook, delivery: WebhookDelivery, *, now: datetime) -> None:
    """Note what came of a try, and pause an address that took nothing for days."""
    if delivery.problem is None:
        delivery.state, delivery.done_at = queries.SENT, now
        webhook.failing_since = webhook.problem = None
        return
    LOG.warning("webhook %s did not take a message: %s", webhook.id, delivery.problem)
    webhook.problem = delivery.problem
    webhook.failing_since = webhook.failing_since or now
    if delivery.tries >= _MOST_TRIES:
        delivery.state, delivery.done_at = queries.FAILED, now
    else:
        delivery.not_before = now + pause_after(delivery.tries)
    if delivery.status == _GONE or now - webhook.failing_since >= _PATIENCE:
        webhook.paused_at = now
        db.flush()
        queries.drop_waiting(db, webhook_id=webhook.id, why=f"paused: {delivery.problem}", now=now)
