"""Erasing an installation: everything that is held of it and of the people it belongs to.

What goes: the site with its file and all earlier ones, logs, rows, figures, findings and notes,
visits, links, keys, consents, weather, and what mails said of it. What stays: that something was
erased, when and by whom; and, where the firm has to answer for a warranty, its papers without name
and place. Mails that were delivered, and copies of the data folder, are out of reach.
"""

import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any

from sqlalchemy.orm import Session

from analysis.sitefile import parse_site
from dashboards.warranty_page import change_lines, commissioning_facts
from dashboards.warranty_words import term_words
from service.db.engine import overwrite_freed
from service.db.models import KeptPapers, Site
from service.errors import ConflictError, InvalidError, NotFoundError
from service.ingest import queries as ingest_queries
from service.privacy import queries

# Signs that cannot be taken for each other when they are read out.
_SIGNS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
_LONGEST_YEARS = 30
_LONGEST = timedelta(days=366 * _LONGEST_YEARS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Keep:
    """That the warranty papers stay: why, and until when."""

    why: str
    until: date


@dataclass(frozen=True, slots=True, kw_only=True)
class Erased:
    """What was done: raw files that nothing refers to any more, mails that were not sent."""

    hashes: list[str]
    mails_dropped: int
    papers: str | None


def erase(
    db: Session, *, site: Site, confirm: str, keep: Keep | None, who: str, now: datetime
) -> Erased:
    """Erase a site; drop the raw files after the commit.

    Raises
    ------
    ConflictError : the confirmation is not the site's name
    InvalidError : the papers should stay, but why or until when is missing
    """
    if confirm.strip() != site.name.strip():
        raise ConflictError(f"Nothing was erased: to confirm, write the name “{site.name}”.")
    papers = None if keep is None else _kept(db, site, keep, who=who, now=now).reference
    dropped = forget_traces(db, site)
    hashes = ingest_queries.hashes_of(db, site_id=site.id)
    db.delete(site)
    db.flush()
    free = sorted(hashes - ingest_queries.hashes_referred_to(db, sorted(hashes)))
    return Erased(hashes=free, mails_dropped=dropped, papers=papers)


def forget_traces(db: Session, site: Site) -> int:
    """Take a site out of what outlives its rows; gives how many mails were not sent by that."""
    overwrite_freed(db)
    queries.hide_in_trail(db, site=site)
    queries.forget_told(db, site=site)
    queries.forget_messages(db, site=site)
    return queries.forget_mails(db, site=site)


def drop_papers(db: Session, *, firm_id: int, papers_id: int) -> None:
    """Erase kept papers before their time."""
    papers = queries.papers_of(db, firm_id=firm_id, papers_id=papers_id)
    if papers is None:
        raise NotFoundError("There are no such papers.")
    overwrite_freed(db)
    db.delete(papers)


def drop_mail_files(folder: Path, *, name: str, slug: str, address: str | None) -> int:
    """Remove mails that became files and name a site, or went to its customer; gives how many."""
    count = 0
    for path in folder.glob("*.eml") if folder.is_dir() else ():
        text = "\n".join(_texts(path.read_bytes()))
        if name in text or f"/sites/{slug}" in text or (address and address in text):
            path.unlink(missing_ok=True)
            count += 1
    return count


def _texts(content: bytes) -> Iterator[str]:
    message = message_from_bytes(content, policy=policy.default)
    assert isinstance(message, EmailMessage)
    yield f"{message['Subject']}\n{message['To']}"
    for part in message.walk():
        if part.get_content_maintype() == "text":
            yield str(part.get_content())


def _kept(db: Session, site: Site, keep: Keep, *, who: str, now: datetime) -> KeptPapers:
    if not keep.why.strip():
        raise InvalidError("Say why the papers have to stay.", field="why")
    if not now.date() < keep.until <= now.date() + _LONGEST:
        raise InvalidError(
            f"Say until when the papers stay: after today, {_LONGEST_YEARS} years at most.",
            field="until",
        )
    papers = KeptPapers(
        firm_id=site.firm_id,
        reference="W-" + "".join(secrets.choice(_SIGNS) for _ in range(8)),
        why=keep.why.strip()[:2000],
        papers=papers_without_people(site.text),
        kept_by=who,
        kept_at=now,
        keep_until=keep.until,
    )
    db.add(papers)
    return papers


def papers_without_people(text: str) -> dict[str, Any]:
    """Give the warranty papers of a site file: no name, no place, no reasons in words."""
    facts = parse_site(text)
    papers = facts.warranty
    return {
        "commissioning": [[one.label, one.value, one.note] for one in commissioning_facts(facts)],
        "from": papers.start.isoformat() if papers else None,
        "years": papers.years if papers else None,
        "terms": [term_words(one) for one in papers.terms] if papers else [],
        "changes": [[one.when, one.what] for one in change_lines(facts)],
    }
