"""Use cases of mail: compose a week's digest, once; mail an urgent finding, once.

What is composed and the claim's end are one commit; sending is somebody else's work
(`service.mail.send`).
"""

import logging
from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlalchemy.orm import Session

from analysis.faults import CATALOGUE
from analysis.results import Finding
from dashboards.digest_mail import DigestSite, digest_mail
from dashboards.links import finding_key
from dashboards.mails import Mail, urgent_mail
from dashboards.private import PRIVATE_KINDS
from dashboards.texts import Texts
from dashboards.weeks import Week
from service.clock import Clock
from service.db.engine import Database
from service.db.models import Recipient
from service.digests import queries
from service.digests.times import digest_due, not_before, zone_of
from service.jobs import claims
from service.mail import outbox
from service.mail.send import withdraw
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
    week: Week


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
            week=due.week,
        )
        for one in queries.digest_readers(db)
        # Who was entered later did not wait for that Monday's mail.
        if (due := digest_due(now=now, timezone=one.timezone)) and one.created_at <= due.since
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
        sites = queries.digest_sites(db, firm_id=job.firm_id, today=now.date())
    mail = _digest(sites, settings=settings, week=job.week, timezone=job.timezone)
    with database.session() as db:
        claims.done(db, key=job.key, holder=holder)
        reader = db.get(Recipient, job.recipient_id)
        if not sites or reader is None or not reader.digest:
            return False
        what = f"digest-{job.week}-{job.recipient_id}"
        outbox.put(
            db,
            mail,
            firm_id=job.firm_id,
            recipient=reader.address,
            message_id=outbox.message_id(settings, what=what, address=job.address),
            not_before=now,
            now=now,
        )
    return True


def _digest(sites: list[DigestSite], *, settings: Settings, week: Week, timezone: str) -> Mail:
    return digest_mail(
        sites,
        week=week,
        timezone=zone_of(timezone).key,
        base_url=settings.public_url,
        texts=TEXTS,
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
    """Give a firm's digest of a week as it would read now; nothing is sent or noted."""
    return _digest(
        queries.digest_sites(db, firm_id=firm_id, today=today),
        settings=settings,
        week=week,
        timezone=timezone or usual_timezone(db, firm_id=firm_id),
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
            mail = urgent_mail(
                finding,
                report=report,
                slug=site.slug,
                base_url=settings.public_url,
                texts=TEXTS,
            )
            with database.session() as db:
                mailed += _tell(
                    db,
                    mail,
                    site_id=site.id,
                    firm_id=site.firm_id,
                    key=finding_key(finding),
                    about=outbox.About(site_id=site.id, kind=finding.kind, channel=finding.channel),
                    settings=settings,
                    now=clock.now(),
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
    mail: Mail,
    *,
    site_id: int,
    firm_id: int,
    key: str,
    about: outbox.About,
    settings: Settings,
    now: datetime,
) -> bool:
    """Lay the mail out for every reader and note that it was; False where that was done before."""
    seen = queries.finding_seen(db, site_id=site_id, key=key)
    if seen is None or seen.mailed_at is not None:
        return False
    readers = queries.urgent_readers(db, firm_id=firm_id)
    for reader in readers:
        what = f"urgent-{site_id}-{key}"
        outbox.put(
            db,
            mail,
            firm_id=firm_id,
            recipient=reader.address,
            message_id=outbox.message_id(settings, what=what, address=reader.address),
            not_before=not_before(
                now=now,
                timezone=reader.timezone,
                quiet_from=reader.quiet_from,
                quiet_until=reader.quiet_until,
            ),
            now=now,
            about=about,
        )
    if readers:
        seen.mailed_at = now
    return bool(readers)
