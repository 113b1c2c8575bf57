"""Use cases of mail: compose a week's digest, once; mail an urgent finding, once.

What is composed and the claim's end are one commit; sending is somebody else's work
(`service.mail.send`).
"""

import logging
from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from analysis.faults import CATALOGUE
from analysis.results import Finding, Report
from dashboards.digest_mail import digest_mail, digest_page
from dashboards.links import finding_key
from dashboards.mails import Mail, urgent_mail
from dashboards.private import PRIVATE_KINDS
from dashboards.texts import Texts
from dashboards.weeks import Days, Week, seven_days_before
from service.clock import Clock
from service.db.engine import Database
from service.db.models import Recipient, Site
from service.digests import queries
from service.digests.times import Due, digest_due, not_before, zone_of
from service.jobs import claims
from service.mail import outbox
from service.mail.send import withdraw
from service.mail.stopping import stop_url
from service.settings import Settings
from service.sites import queries as site_queries

LOG = logging.getLogger("suntally.mail")

LEASE = timedelta(minutes=5)
TEXTS: Texts = {fault.kind: fault.text for fault in CATALOGUE}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Job:
    """A digest that somebody should have."""

    key: str
    recipient_id: int
    firm_id: int
    address: str
    timezone: str
    due: Due


def compose_due(database: Database, *, settings: Settings, clock: Clock, holder: str) -> int:
    """Compose every digest that is due and not done; gives how many were composed."""
    with database.reading() as db:
        jobs = _jobs(db, now=clock.now())
    composed = 0
    for job in jobs:
        try:
            composed += compose_week(
                database, settings=settings, clock=clock, holder=holder, job=job
            )
        except claims.LostClaimError:
            LOG.warning("%s was taken over by another worker", job.key)
        except Exception:
            # One reader's trouble must not stop the others; the claim falls free and it is retried.
            LOG.exception("%s failed", job.key)
    return composed


def _jobs(db: Session, *, now: datetime) -> list[_Job]:
    jobs = [
        _Job(
            key=f"digest:{due.week}:{one.id}",
            recipient_id=one.id,
            firm_id=one.firm_id,
            address=one.address,
            timezone=one.timezone,
            due=due,
        )
        for one in queries.digest_readers(db)
        # Who was entered later did not wait for that mail.
        if (due := due_of(one, now=now)) and one.created_at <= due.since
    ]
    done = queries.done_keys(db, (job.key for job in jobs))
    return [job for job in jobs if job.key not in done]


def compose_week(
    database: Database, *, settings: Settings, clock: Clock, holder: str, job: _Job
) -> bool:
    """Compose one reader's digest of a week; False where it is done or somebody else does it."""
    now = clock.now()
    with database.session() as db:
        if not claims.claim(db, key=job.key, holder=holder, now=now, until=now + LEASE):
            return False
    with database.reading() as db:
        written = _written(
            db, recipient_id=job.recipient_id, settings=settings, days=job.due.days, now=now
        )
    with database.session() as db:
        claims.done(db, key=job.key, holder=holder)
        reader = db.get(Recipient, job.recipient_id)
        if written is None or reader is None or not reader.digest or reader.paused_at is not None:
            return False
        reader.told = written.told
        if written.quiet and reader.skip_unchanged:
            return False
        what = f"digest-{job.due.week}-{job.recipient_id}"
        outbox.put(
            db,
            written.mail,
            firm_id=job.firm_id,
            recipient=reader.address,
            message_id=outbox.message_id(settings, what=what, address=job.address),
            not_before=now,
            now=now,
        )
    return True


@dataclass(frozen=True, slots=True, kw_only=True)
class _Written:
    """A digest for somebody.

    Attributes
    ----------
    told : what it says of each finding, to be remembered when it is laid out
    quiet : whether nothing changed for its reader
    """

    mail: Mail
    told: dict[str, Any]
    quiet: bool


def _written(
    db: Session, *, recipient_id: int, settings: Settings, days: Days, now: datetime
) -> _Written | None:
    """Write a reader's digest as of now; None where there is nobody, or no site to tell of."""
    reader = db.get(Recipient, recipient_id)
    if reader is None:
        return None
    found = queries.digest_sites(db, firm_id=reader.firm_id, today=now.date(), reader=reader)
    if not found.sites:
        return None
    page = digest_page(
        found.sites,
        days=days,
        timezone=zone_of(reader.timezone).key,
        base_url=settings.public_url,
        texts=TEXTS,
        stop_url=stop_url(db, reader=reader, kind="digest", settings=settings),
    )
    return _Written(mail=digest_mail(page), told=found.told, quiet=page.quiet)


def send_now(db: Session, *, reader: Recipient, settings: Settings, now: datetime) -> bool:
    """Lay a reader's digest out as it reads now, beside the weekly one, which comes all the same.

    False where there is no site to tell of.
    """
    days = seven_days_before(now.astimezone(zone_of(reader.timezone)).date())
    written = _written(db, recipient_id=reader.id, settings=settings, days=days, now=now)
    if written is None:
        return False
    what = f"digest-now-{reader.id}-{now:%Y%m%dT%H%M%S}"
    outbox.put(
        db,
        written.mail,
        firm_id=reader.firm_id,
        recipient=reader.address,
        message_id=outbox.message_id(settings, what=what, address=reader.address),
        not_before=now,
        now=now,
    )
    return True


def due_of(reader: Recipient, *, now: datetime) -> Due | None:
    """Give the digest that a reader should have by now."""
    return digest_due(
        now=now,
        timezone=reader.timezone,
        weekday=reader.digest_weekday,
        hour=reader.digest_hour,
    )


def preview_week(
    db: Session,
    *,
    firm_id: int,
    week: Week,
    settings: Settings,
    today: date,
    timezone: str | None = None,
) -> Mail:
    """Give a firm's digest of a week as a new reader would have it now; nothing is sent."""
    found = queries.digest_sites(db, firm_id=firm_id, today=today)
    zone = timezone or usual_timezone(db, firm_id=firm_id)
    return digest_mail(
        digest_page(
            found.sites,
            days=week.days,
            timezone=zone_of(zone).key,
            base_url=settings.public_url,
            texts=TEXTS,
        )
    )


def usual_timezone(db: Session, *, firm_id: int) -> str:
    """Give the zone that most of a firm's sites stand in."""
    zones = Counter(site.timezone for site in site_queries.list_sites(db, firm_id=firm_id))
    return zones.most_common(1)[0][0] if zones else "UTC"


class UrgentWatch:
    """Mails urgent findings; remembers which reports it has looked at, so that it looks once."""

    def __init__(self) -> None:
        self._looked: dict[int, datetime] = {}

    def withdraw_ended(self, database: Database, *, clock: Clock, holder: str) -> int:
        """Take back mails that still wait, through quiet hours, for a finding that has ended."""
        with database.reading() as db:
            waiting = outbox.waiting_about(db)
            asking = {
                site_id: _asking(db, site_id=site_id)
                for site_id in {one.site_id for one in waiting if one.site_id is not None}
            }
        ended = [
            one
            for one in waiting
            if one.site_id is not None and (one.kind, one.channel) not in asking[one.site_id]
        ]
        withdrawn = [one for one in ended if withdraw(database, one.id, clock=clock, holder=holder)]
        with database.session() as db:
            for one in withdrawn:
                # Should it come back, it is news again.
                queries.not_mailed(db, site_id=one.site_id, kind=one.kind, channel=one.channel)
        return len(withdrawn)

    def mail_new(self, database: Database, *, settings: Settings, clock: Clock) -> int:
        """Lay a mail into the outbox for each urgent finding that nobody was told of."""
        with database.reading() as db:
            made = queries.reports_made(db)
            firms = {one.firm_id for one in made}
            served = {firm for firm in firms if queries.urgent_readers(db, firm_id=firm)}
        mailed = 0
        for one in made:
            if one.firm_id not in served or self._looked.get(one.site_id) == one.made_at:
                continue
            try:
                mailed += self._site(database, one.site_id, settings=settings, clock=clock)
            except Exception:
                # One site must not stop the others; it is looked at again next time.
                LOG.exception("urgent findings of site %s failed", one.site_id)
                continue
            self._looked[one.site_id] = one.made_at
        return mailed

    def _site(self, database: Database, site_id: int, *, settings: Settings, clock: Clock) -> int:
        with database.reading() as db:
            found = queries.urgent_report(db, site_id=site_id)
        if found is None:
            return 0
        site, report = found
        mailed = 0
        for finding in report.findings:
            if not asks_now(finding):
                continue
            with database.session() as db:
                mailed += _tell(
                    db, finding, site=site, report=report, settings=settings, now=clock.now()
                )
        return mailed


def _asking(db: Session, *, site_id: int) -> set[tuple[str | None, str | None]]:
    """Give kind and sensor of every urgent finding that lasts; none where the site is gone."""
    found = queries.urgent_report(db, site_id=site_id)
    if found is None:
        return set()
    return {(one.kind, one.channel) for one in found[1].findings if asks_now(one)}


def asks_now(finding: Finding) -> bool:
    """Tell whether a finding is worth a mail of its own."""
    lasts = finding.end_s is None
    return finding.urgency == "act" and lasts and finding.kind not in PRIVATE_KINDS


def _tell(
    db: Session,
    finding: Finding,
    *,
    site: Site,
    report: Report,
    settings: Settings,
    now: datetime,
) -> bool:
    """Lay the mail out for every reader and note that it was; False where that was done before."""
    key = finding_key(finding)
    seen = queries.finding_seen(db, site_id=site.id, key=key)
    if seen is None or seen.mailed_at is not None:
        return False
    readers = [
        one
        for one in queries.urgent_readers(db, firm_id=site.firm_id)
        if queries.hears_of(db, one, site_id=site.id)
    ]
    for reader in readers:
        mail = urgent_mail(
            finding,
            report=report,
            slug=site.slug,
            base_url=settings.public_url,
            texts=TEXTS,
            stop_url=stop_url(db, reader=reader, kind="urgent", settings=settings),
        )
        outbox.put(
            db,
            mail,
            firm_id=site.firm_id,
            recipient=reader.address,
            message_id=outbox.message_id(
                settings, what=f"urgent-{site.id}-{key}", address=reader.address
            ),
            not_before=not_before(
                now=now,
                timezone=reader.timezone,
                quiet_from=reader.quiet_from,
                quiet_until=reader.quiet_until,
            ),
            now=now,
            about=outbox.About(site_id=site.id, kind=finding.kind, channel=finding.channel),
        )
    if readers:
        seen.mailed_at = now
    return bool(readers)
