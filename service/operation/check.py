"""Looking an installation over: what is well, what to know, what to mend. Nothing is changed."""

import os
import platform
import shutil
import smtplib
import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from sqlalchemy.exc import SQLAlchemyError

from service.accounts.queries import count_accounts
from service.assessments.row_queries import unreadable_days
from service.backups import queries as backup_queries
from service.backups.make import last_backup
from service.db.engine import Database, newest_revision
from service.ingest.files import DamagedError, RawStore
from service.mail.transport import SmtpTransport
from service.operation import queries
from service.operation.health import MIB
from service.retention.actions import limits_of, plan
from service.retention.words import plan_words, set_words
from service.settings import Settings

State = Literal["ok", "note", "mend"]

# Engineering judgement: a week of logs can be had again from most loggers; two weeks of silence
# is a controller that somebody should look at.
_BACKUP = timedelta(days=7)
_SILENCE = timedelta(days=14)
_CLOCK = timedelta(minutes=5)
_NAMED = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """What looking at one thing showed; `mend` says what to do."""

    what: str
    state: State
    said: str


def look(settings: Settings, *, now: datetime, quick: bool = False) -> Iterator[Looked]:
    """Look at everything, one thing after another.

    Parameters
    ----------
    now : aware, UTC
    quick : raw files are looked for, not read
    """
    yield Looked(what="Python", state="ok", said=platform.python_version())
    yield _folder(settings)
    yield _disk(settings)
    yield _zones()
    yield _mail(settings)
    yield _backup(settings, now=now)
    if settings.database_url is None and not (settings.data_dir / "suntally.db").exists():
        yield Looked(what="database", state="mend", said="there is none; start the service once")
        return
    database = Database(settings.url)
    try:
        tables = _tables(database)
        yield tables
        if tables.state == "ok":
            for one in (_clock, _password, _worker, _silent_sites, _unreadable):
                yield one(database, settings, now)
            yield _raw_files(database, settings, quick=quick)
            yield _old_data(database, settings, now=now)
    finally:
        database.close()


def _folder(settings: Settings) -> Looked:
    what, folder = "data folder", settings.data_dir
    if not folder.is_dir():
        return Looked(
            what=what, state="mend", said=f"{folder} is not there; start the service once"
        )
    closed = [
        str(path)
        for path in (folder, folder / "uploads", folder / "suntally.db")
        if path.exists() and not os.access(path, os.R_OK | os.W_OK)
    ]
    if closed:
        return Looked(
            what=what,
            state="mend",
            said=f"{', '.join(closed)} cannot be written by this user; run this as the service's "
            "user, or change the owner",
        )
    if stat.S_IMODE(folder.stat().st_mode) & stat.S_IROTH:
        return Looked(
            what=what,
            state="note",
            said=f"every user of this machine can read {folder}; “chmod o-rx” closes it",
        )
    return Looked(what=what, state="ok", said=str(folder))


def _disk(settings: Settings) -> Looked:
    place = settings.data_dir
    while not place.exists() and place != place.parent:
        place = place.parent
    free = shutil.disk_usage(place).free // MIB
    if free < settings.min_free_mib:
        return Looked(
            what="disk",
            state="mend",
            said=f"{free} MiB are free, fewer than the {settings.min_free_mib} that "
            "SUNTALLY_MIN_FREE_MIB asks for; make room",
        )
    return Looked(what="disk", state="ok", said=f"{free} MiB free")


def _zones() -> Looked:
    try:
        ZoneInfo("Europe/Berlin")
    except (ZoneInfoNotFoundError, OSError):
        return Looked(
            what="time zones", state="mend", said="they are not known; install the package tzdata"
        )
    return Looked(what="time zones", state="ok", said="known")


def _mail(settings: Settings) -> Looked:
    if settings.smtp_host is None:
        return Looked(
            what="mail",
            state="note",
            said=f"no server is set, so mails become files in {settings.outbox}; set "
            "SUNTALLY_SMTP_HOST to send them",
        )
    where = f"{settings.smtp_host} port {settings.smtp_port}"
    if (settings.smtp_user is None) != (settings.smtp_password is None):
        there, lacking = ("USER", "PASSWORD") if settings.smtp_user else ("PASSWORD", "USER")
        return Looked(
            what="mail",
            state="mend",
            said=f"SUNTALLY_SMTP_{there} is set without SUNTALLY_SMTP_{lacking}, so nobody signs "
            f"in at {where}; set both, or neither",
        )
    try:
        with SmtpTransport(settings):
            return Looked(what="mail", state="ok", said=f"{where} takes mails")
    except smtplib.SMTPAuthenticationError:
        said = "refuses the account; look at SUNTALLY_SMTP_USER and _PASSWORD"
    except (OSError, smtplib.SMTPException) as error:
        said = f"cannot be used ({error.args[-1] if error.args else type(error).__name__}); look at"
        said += " SUNTALLY_SMTP_HOST, _PORT and _STARTTLS"
    return Looked(what="mail", state="mend", said=f"{where} {said}")


def _backup(settings: Settings, *, now: datetime) -> Looked:
    made = last_backup(settings.data_dir)
    if made is None:
        return Looked(
            what="backup", state="mend", said="none is known of; make one: suntally backup FILE"
        )
    days = (now - made).days
    if now - made > _BACKUP:
        return Looked(
            what="backup", state="mend", said=f"the last one is {days} days old; make a new one"
        )
    return Looked(what="backup", state="ok", said=f"made {made:%Y-%m-%d %H:%M} UTC")


def _tables(database: Database) -> Looked:
    what = "database"
    try:
        with database.reading() as db:
            here = backup_queries.revision(db)
    except SQLAlchemyError as error:
        reason = str(error.__cause__ or error).splitlines()[0]
        return Looked(
            what=what,
            state="mend",
            said=f"it cannot be reached ({reason}); look at SUNTALLY_DATABASE_URL, and whether its "
            "server runs",
        )
    newest = newest_revision()
    if here != newest:
        return Looked(
            what=what,
            state="mend",
            said=f"its tables are of state {here}, this version needs {newest}; start the service "
            "once, or install the version that they belong to",
        )
    return Looked(what=what, state="ok", said=f"tables of state {here}")


def _clock(database: Database, _settings: Settings, now: datetime) -> Looked:
    with database.reading() as db:
        latest = queries.latest_moment(db)
    if latest is not None and latest > now + _CLOCK:
        return Looked(
            what="clock",
            state="mend",
            said=f"it says {now:%Y-%m-%d %H:%M} UTC, but something was stored at "
            f"{latest:%Y-%m-%d %H:%M} UTC; set it, and let a time server keep it",
        )
    return Looked(what="clock", state="ok", said=f"{now:%Y-%m-%d %H:%M} UTC")


def _password(database: Database, settings: Settings, _now: datetime) -> Looked:
    if not settings.reachable:
        return Looked(what="password", state="ok", said="only this machine reaches the service")
    with database.reading() as db:
        if not count_accounts(db):
            return Looked(
                what="password",
                state="mend",
                said="others can reach the service and none is set; open the link that it prints "
                "at its start",
            )
    if not settings.secure_cookies:
        return Looked(
            what="password",
            state="mend",
            said="it crosses the network in the clear; put the service behind a proxy that speaks "
            "HTTPS and set SUNTALLY_BASE_URL=https://...",
        )
    return Looked(what="password", state="ok", said="set, and asked for by HTTPS")


def _worker(database: Database, settings: Settings, now: datetime) -> Looked:
    with database.reading() as db:
        state = queries.state_of(db)
    last = state.last_beat
    if last is not None and abs(now - last) <= timedelta(seconds=settings.worker_lease_s):
        return Looked(what="worker", state="ok", said="alive")
    since = "never was one" if last is None else f"silent since {last:%Y-%m-%d %H:%M} UTC"
    waiting = state.uploads.get("kept", 0)
    return Looked(
        what="worker",
        state="mend",
        said=f"{since}, {waiting} logs wait to be read; start “suntally serve” or “suntally work”",
    )


def _silent_sites(database: Database, _settings: Settings, now: datetime) -> Looked:
    with database.reading() as db:
        lasts = queries.last_uploads(db)
    never = sorted(name for name, last in lasts.items() if last is None)
    silent = sorted(
        name for name, last in lasts.items() if last is not None and now - last > _SILENCE
    )
    if not never and not silent:
        return Looked(what="sites", state="ok", said=f"{len(lasts)}, each with logs of late")
    parts = []
    if never:
        parts.append(f"without any log: {_some(never)}")
    if silent:
        parts.append(f"without a log for {_SILENCE.days} days: {_some(silent)}")
    return Looked(
        what="sites", state="note", said=f"{'; '.join(parts)}; fetch the cards or see the gateways"
    )


def _unreadable(database: Database, _settings: Settings, _now: datetime) -> Looked:
    with database.reading() as db:
        found = unreadable_days(db)
    if not found:
        return Looked(what="days", state="ok", said="what each showed can be read")
    count = sum(days for _, _, days in found)
    stand = sum(days for _, held, days in found if held)
    names = list(dict.fromkeys(name for name, _, _ in found))
    said = (
        f"{count} are missing from reports, as what their numbers are called is lost (table "
        f"day_names): {_some(names)}. “suntally fleet run --again” works out anew all whose rows "
        "are there"
    )
    if stand:
        said += (
            f"; of {stand} they were rolled up or removed since. If these are still missing then, "
            "restore a backup into an empty place and copy its table day_names"
        )
    return Looked(what="days", state="mend", said=said)


def _old_data(database: Database, settings: Settings, *, now: datetime) -> Looked:
    said = " ".join(set_words(settings))
    limits = limits_of(settings, now=now)
    if not limits.any:
        return Looked(what="old data", state="ok", said=said)
    with database.reading() as db:
        due = plan(db, limits)
    return Looked(what="old data", state="note", said=f"{said} Now: {'; '.join(plan_words(due))}")


def _raw_files(database: Database, settings: Settings, *, quick: bool) -> Looked:
    is_lost: Callable[[Path, str], bool] = _is_away if quick else _is_damaged
    with database.reading() as db:
        hashes = backup_queries.raw_hashes(db)
        lost = [one for one in hashes if is_lost(settings.data_dir, one)]
        names = queries.names_of(db, lost)
    if not lost:
        looked = "there" if quick else "there and as they came"
        return Looked(what="raw files", state="ok", said=f"{len(hashes)}, all {looked}")
    return Looked(
        what="raw files",
        state="mend",
        said=f"{len(lost)} of {len(hashes)} are lost or damaged: {_some(names)}; what they said is "
        "in the database still. Copy them from a backup, or hand the logs in once more",
    )


def _is_away(data_dir: Path, sha256: str) -> bool:
    return not RawStore(data_dir).path(sha256).exists()


def _is_damaged(data_dir: Path, sha256: str) -> bool:
    try:
        for _ in RawStore(data_dir).chunks(sha256):
            pass
    except (DamagedError, OSError):
        return True
    return False


def _some(names: list[str]) -> str:
    more = len(names) - _NAMED
    return ", ".join(names[:_NAMED]) + (f" and {more} more" if more > 0 else "")
