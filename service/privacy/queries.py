"""All SQL about consents, kept papers and the traces of an installation. Nothing here commits."""

import json
from datetime import date, datetime

from sqlalchemy import delete, or_, select, update
from sqlalchemy.orm import Session

from service.db.models import (
    ApiKey,
    Consent,
    CustomerLink,
    KeptPapers,
    Outbox,
    OutboxPart,
    Recipient,
    Site,
    TrailEntry,
    Webhook,
    WebhookDelivery,
)
from service.evidence.queries import letters_of, trail_about

ERASED = "an erased installation"


def consent_of(db: Session, *, site_id: int, consent_id: int) -> Consent | None:
    """Give a consent of a site."""
    found = db.get(Consent, consent_id, with_for_update=True)
    return found if found is not None and found.site_id == site_id else None


def stop_links(db: Session, *, site_id: int, now: datetime) -> None:
    """Make all customers' links of a site useless."""
    db.execute(
        update(CustomerLink)
        .where(CustomerLink.site_id == site_id, CustomerLink.withdrawn_at.is_(None))
        .values(withdrawn_at=now)
    )


def stop_keys(db: Session, *, site_id: int, now: datetime) -> None:
    """Make all gateway keys of a site useless."""
    db.execute(
        update(ApiKey)
        .where(ApiKey.site_id == site_id, ApiKey.revoked_at.is_(None))
        .values(revoked_at=now)
    )


def papers_of_firm(db: Session, *, firm_id: int) -> list[KeptPapers]:
    """Give the papers that a firm keeps of erased installations, the newest first."""
    found = select(KeptPapers).where(KeptPapers.firm_id == firm_id)
    return list(db.scalars(found.order_by(KeptPapers.id.desc())))


def papers_of(db: Session, *, firm_id: int, papers_id: int) -> KeptPapers | None:
    """Give papers of a firm by their number."""
    found = db.get(KeptPapers, papers_id)
    return found if found is not None and found.firm_id == firm_id else None


def drop_old_papers(db: Session, *, today: date) -> None:
    """Erase papers whose time is over."""
    db.execute(delete(KeptPapers).where(KeptPapers.keep_until < today))


def hide_in_trail(db: Session, *, site: Site) -> None:
    """Leave the lines of the audit trail, but take out which installation they are about."""
    ids = [line.id for line in trail_about(db, site=site)]
    db.execute(update(TrailEntry).where(TrailEntry.id.in_(ids)).values(subject=ERASED))


def forget_mails(db: Session, *, site: Site) -> int:
    """Take an installation out of kept mails; gives how many were not sent because of it.

    A mail about it alone goes. A digest names others, too: one that went out stays as a line
    without its content, one that still waits is dropped, because it cannot be unsaid afterwards.
    """
    letters = {one.message_id for one in letters_of(db, site_id=site.id)} - {None}
    alone = or_(Outbox.site_id == site.id, Outbox.message_id.in_(letters))
    path = f"/sites/{site.slug}"
    linked = or_(
        Outbox.text.contains(path, autoescape=True), Outbox.html.contains(path, autoescape=True)
    )
    in_words = Outbox.text.contains(site.name, autoescape=True)
    of_firm = Outbox.firm_id == site.firm_id
    waiting = Outbox.state == "waiting"
    gone = delete(Outbox).where(of_firm, or_(alone, linked), waiting).returning(Outbox.id)
    dropped = len(db.execute(gone).all())
    db.execute(delete(Outbox).where(of_firm, alone))
    names_it = select(Outbox.id).where(of_firm, or_(linked, in_words), ~waiting)
    ids = list(db.scalars(names_it))
    db.execute(delete(OutboxPart).where(OutboxPart.outbox_id.in_(ids)))
    db.execute(update(Outbox).where(Outbox.id.in_(ids)).values(subject=ERASED, text="", html=""))
    return dropped


def forget_messages(db: Session, *, site: Site) -> None:
    """Take messages to other programs that name an installation out of what is kept."""
    hooks = select(Webhook.id).where(Webhook.firm_id == site.firm_id)
    body = WebhookDelivery.body
    names_it = or_(
        body.contains(f"/sites/{site.slug}", autoescape=True),
        body.contains(json.dumps(site.slug), autoescape=True),
        body.contains(json.dumps(site.name), autoescape=True),
        body.contains(json.dumps(site.name, ensure_ascii=False), autoescape=True),
    )
    db.execute(delete(WebhookDelivery).where(WebhookDelivery.webhook_id.in_(hooks), names_it))


def forget_told(db: Session, *, site: Site) -> None:
    """Take out what readers of digests were told of an installation."""
    key = str(site.id)
    for reader in db.scalars(select(Recipient).where(Recipient.firm_id == site.firm_id)):
        if reader.told and key in reader.told:
            reader.told = {name: told for name, told in reader.told.items() if name != key}
