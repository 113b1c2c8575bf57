"""Sending what waits: one claim per mail, the server outside any transaction, then one commit.

A crash between the server's yes and the commit sends a mail twice, with the same Message-ID.
"""

import logging
import smtplib
from collections.abc import Callable
from contextlib import ExitStack
from datetime import timedelta
from email.message import EmailMessage

from service.clock import Clock
from service.db.engine import Database
from service.db.models import Outbox
from service.jobs import claims
from service.mail import outbox, refusals
from service.mail.message import message_of
from service.mail.transport import Transport, transport_for
from service.settings import Settings

LOG = logging.getLogger("suntally.mail")

# Longer than the server may take for one mail, connecting included.
LEASE = timedelta(minutes=5)
_AT_ONCE = 100
_FIRST_PAUSE = timedelta(minutes=1)
_LONGEST_PAUSE = timedelta(hours=4)
# With the pauses above a mail is given up after a little more than two days.
_MOST_TRIES = 20


def send_due(
    database: Database,
    *,
    settings: Settings,
    clock: Clock,
    holder: str,
    transport: Callable[[Settings], Transport] = transport_for,
) -> int:
    """Send what may leave now; gives how many mails left.

    A mail that does not get through is tried again with a growing pause; the others do not wait
    for it. Where the server cannot be reached at all, the round ends.
    """
    with database.reading() as db:
        waiting = outbox.due(db, now=clock.now(), limit=_AT_ONCE)
    sent = 0
    with ExitStack() as open_until_end:
        way: Transport | None = None
        for mail_id in waiting:
            message = _take(database, mail_id, settings=settings, clock=clock, holder=holder)
            if message is None:
                continue
            try:
                if way is None:
                    way = open_until_end.enter_context(transport(settings))
                way.deliver(message)
            except (smtplib.SMTPException, OSError) as error:
                _put_off(database, mail_id, error, settings=settings, clock=clock, holder=holder)
                if not isinstance(error, _ABOUT_ONE_MAIL):
                    break
            except Exception as error:
                LOG.exception("mail %s cannot be handed over", mail_id)
                _put_off(database, mail_id, error, settings=settings, clock=clock, holder=holder)
            else:
                _sent(database, mail_id, clock=clock, holder=holder)
                sent += 1
    return sent


_ABOUT_ONE_MAIL = (
    smtplib.SMTPRecipientsRefused,
    smtplib.SMTPSenderRefused,
    smtplib.SMTPDataError,
)


def withdraw(database: Database, mail_id: int, *, clock: Clock, holder: str) -> bool:
    """Take a mail back that still waits; False where it is on its way or gone."""
    now = clock.now()
    with database.session() as db:
        if not claims.claim(db, key=_key(mail_id), holder=holder, now=now, until=now + LEASE):
            return False
        mail = db.get(Outbox, mail_id)
        waits = mail is not None and mail.state == outbox.WAITING
        if waits:
            db.delete(mail)
        claims.finish(db, key=_key(mail_id), holder=holder)
    return waits


def _key(mail_id: int) -> str:
    return f"mail:{mail_id}"


def _take(
    database: Database, mail_id: int, *, settings: Settings, clock: Clock, holder: str
) -> EmailMessage | None:
    """Claim a mail and give its message; None where somebody else has it or has sent it."""
    now = clock.now()
    with database.session() as db:
        if not claims.claim(db, key=_key(mail_id), holder=holder, now=now, until=now + LEASE):
            return None
        mail = db.get(Outbox, mail_id)
        if mail is None or not outbox.may_leave(mail, now=now):
            claims.finish(db, key=_key(mail_id), holder=holder)
            return None
        try:
            parts = outbox.parts_of(db, mail_id=mail.id)
            return message_of(mail, parts, sender=settings.mail_from)
        except Exception as error:
            # The library stumbles over some odd addresses; one of them must not stop the others.
            LOG.exception("mail %s cannot be written", mail_id)
            _give_up(mail, f"{type(error).__name__}: {error}")
            claims.finish(db, key=_key(mail_id), holder=holder)
            return None


def _sent(database: Database, mail_id: int, *, clock: Clock, holder: str) -> None:
    with database.session() as db:
        mail = db.get(Outbox, mail_id)
        if mail is not None:
            mail.state, mail.sent_at, mail.problem = outbox.SENT, clock.now(), None
            mail.tries += 1
            refusals.taken(db, firm_id=mail.firm_id, address=mail.recipient)
        claims.finish(db, key=_key(mail_id), holder=holder)


def _put_off(
    database: Database,
    mail_id: int,
    error: Exception,
    *,
    settings: Settings,
    clock: Clock,
    holder: str,
) -> None:
    """Note why a mail did not leave, and when it is tried again."""
    why = f"{type(error).__name__}: {error}"
    LOG.warning("mail %s did not leave: %s", mail_id, why)
    with database.session() as db:
        mail = db.get(Outbox, mail_id)
        if mail is not None:
            mail.tries += 1
            if _for_good(error) or mail.tries >= _MOST_TRIES:
                _give_up(mail, why)
            else:
                mail.problem = why
                mail.not_before = clock.now() + pause_after(mail.tries)
            if isinstance(error, smtplib.SMTPRecipientsRefused) and _for_good(error):
                refusals.refused(
                    db, mail=mail, why=_said(error), settings=settings, now=clock.now()
                )
        claims.finish(db, key=_key(mail_id), holder=holder)


def _give_up(mail: Outbox, why: str) -> None:
    mail.state, mail.problem = outbox.FAILED, why


def pause_after(tries: int) -> timedelta:
    """Give the pause after so many vain tries: one minute, doubled each time, to four hours."""
    return min(_FIRST_PAUSE * 2.0 ** min(tries - 1, 20), _LONGEST_PAUSE)


def _said(error: smtplib.SMTPRecipientsRefused) -> str:
    """Give the server's own words."""
    code, words = next(iter(error.recipients.values()))
    return f"{code} {words.decode('utf-8', 'replace')}"


def _for_good(error: Exception) -> bool:
    """Tell whether the server's no is meant for good: a 5xx about this mail (RFC 5321, 4.2.1)."""
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return all(code >= 500 for code, _ in error.recipients.values())
    if isinstance(error, smtplib.SMTPSenderRefused | smtplib.SMTPDataError):
        return int(error.smtp_code) >= 500
    return False
