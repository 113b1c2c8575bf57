"""Use cases of uploads: keep the bytes now, read and store them in the worker."""

from collections.abc import Sequence
from datetime import datetime
from typing import IO

from sqlalchemy.orm import Session

from dashboards.format import day
from service.db.engine import BYTES_LOCK, Database, one_at_a_time
from service.db.models import Site, Upload
from service.errors import ConflictError, NotFoundError
from service.ingest import queries
from service.ingest.closed import NOT_UNDONE
from service.ingest.files import Kept, RawStore
from service.ingest.storing import ClosedDaysError, take_out
from service.sites import queries as site_queries

_NAME_LENGTH = 300
_CHUNK = 1024 * 1024


def receive(
    database: Database,
    *,
    raw: RawStore,
    site_id: int,
    file: IO[bytes],
    name: str,
    via: str,
    now: datetime,
) -> Upload:
    """Keep a file's bytes, then the note of them; both are on disk when this returns."""
    kept = _kept(raw, file)
    with database.session() as db:
        site = site_queries.locked_site(db, site_id)
        if site is None:
            raise NotFoundError("This site is gone.")
        upload = keep_upload(db, site=site, kept=kept, name=name, via=via, now=now)
    if not raw.path(kept.sha256).exists():  # a purge met it between file and note
        _kept(raw, file)
    return upload


def _kept(raw: RawStore, file: IO[bytes]) -> Kept:
    file.seek(0)
    return raw.keep(iter(lambda: file.read(_CHUNK), b""))


def drop_bytes(database: Database, *, raw: RawStore, hashes: Sequence[str]) -> None:
    """Remove raw files that nothing refers to; who notes one at this moment keeps it again."""
    for sha256 in hashes:
        with database.session() as db:
            one_at_a_time(db, BYTES_LOCK)
            if not queries.hashes_referred_to(db, [sha256]):
                raw.drop(sha256)


def keep_upload(
    db: Session, *, site: Site, kept: Kept, name: str, via: str, now: datetime
) -> Upload:
    """Take note of a kept file; the same bytes again get the first answer.

    Bytes that were refused or ask something are tried once more: the site file may have changed
    since. Bytes that were undone count again. What is tried again, or had been removed for its age,
    is as old as this handing in.
    """
    if site_queries.locked_site(db, site.id) is None:
        raise NotFoundError("This site is gone.")
    one_at_a_time(db, BYTES_LOCK)
    found = queries.upload_of_bytes(db, site_id=site.id, sha256=kept.sha256)
    if found is not None:
        if found.state in ("refused", "asking", "undone"):
            found.state, found.message, found.settled_at = "kept", None, None
            found.name, found.received_at = _name(name), now
        elif found.bytes_gone_at is not None:
            found.message = _came_again(
                found.message, first=found.received_at, gone=found.bytes_gone_at
            )
            found.received_at = now  # by the first time it would be gone again the next night
        found.bytes_gone_at = None
        return found
    upload = Upload(
        site_id=site.id,
        sha256=kept.sha256,
        name=_name(name),
        size_bytes=kept.size_bytes,
        via=via,
        state="kept",
        received_at=now,
    )
    db.add(upload)
    db.flush()
    return upload


def _came_again(message: str | None, *, first: datetime, gone: datetime) -> str:
    """Add to what is said of a file that counts when its bytes were here before."""
    here = (
        f"It was handed in before, on {day(first.date())}, and removed for its age on "
        f"{day(gone.date())}"
    )
    return here if message is None else f"{message}. {here}"


def _name(given: str) -> str:
    return bare_name(given) or "log"


def bare_name(given: str) -> str:
    """Give a file's name without folders and signs that cannot be shown; it may be empty."""
    bare = given.replace("\\", "/").rsplit("/", 1)[-1].strip()
    return "".join(sign for sign in bare if sign.isprintable())[:_NAME_LENGTH]


def read_again(db: Session, *, site: Site, uploads: Sequence[Upload], now: datetime) -> int:
    """Take the rows of these files out and have the files read anew; the rules changed.

    What was removed or rolled up for its age stays as it is; tells how many are read.
    """
    count = 0
    for upload in uploads:
        if upload.bytes_gone_at is not None:
            continue
        try:
            take_out(db, site=site, upload=upload, due_at=now)
        except ClosedDaysError:
            continue
        upload.state, upload.settled_at = "kept", None
        count += 1
    return count


def ask_again(db: Session, *, site_id: int) -> int:
    """Have everything that waits for an answer read again; the map has changed."""
    waiting = queries.uploads_in_state(db, site_id=site_id, state="asking")
    for upload in waiting:
        upload.state, upload.message, upload.settled_at = "kept", None, None
    return len(waiting)


def discard_upload(db: Session, *, site_id: int, upload_id: int) -> str | None:
    """Forget a file of which nothing is stored; gives the hash of bytes that nothing needs now.

    Raises
    ------
    ConflictError : its rows are in, or it is being read
    NotFoundError : there is no such upload
    """
    _, upload = _locked_upload(db, site_id=site_id, upload_id=upload_id)
    if upload.state not in ("asking", "refused", "undone"):
        raise ConflictError("The rows of this file are in; undo it first.")
    sha256 = upload.sha256
    db.delete(upload)
    return sha256


def expire_previews(db: Session, *, before: datetime) -> list[str]:
    """Forget files that waited for an answer for too long; gives their hashes."""
    old = queries.asking_since(db, before=before)
    for upload in old:
        db.delete(upload)
    return sorted({upload.sha256 for upload in old if upload.sha256 is not None})


def undo_upload(db: Session, *, site_id: int, upload_id: int, now: datetime) -> Upload:
    """Take a file's rows out again; what it had replaced is in force as it was before.

    Raises
    ------
    ConflictError : its rows are not in, or cannot be told from others any more
    NotFoundError : there is no such upload
    """
    site, upload = _locked_upload(db, site_id=site_id, upload_id=upload_id)
    if upload.pushed_on is not None:
        raise ConflictError("Rows that a gateway pushed cannot be undone; no file holds them.")
    if upload.state == "undone":
        return upload
    if upload.state != "stored":
        raise ConflictError("The rows of this file are not in, so there is nothing to undo.")
    try:
        take_out(db, site=site, upload=upload, due_at=now)
    except ClosedDaysError:
        raise ConflictError(NOT_UNDONE) from None
    upload.state, upload.settled_at = "undone", now
    kept = "is kept" if upload.bytes_gone_at is None else "was removed for its age"
    upload.message = f"its rows were taken out; the file itself {kept}"
    return upload


def redo_upload(db: Session, *, site_id: int, upload_id: int) -> Upload:
    """Have an undone file read again; it takes its old place among the others.

    Raises
    ------
    ConflictError : its bytes are not kept any more
    NotFoundError : there is no such upload
    """
    _, upload = _locked_upload(db, site_id=site_id, upload_id=upload_id)
    if upload.state == "undone":
        if upload.bytes_gone_at is not None:
            raise ConflictError("The file itself was removed for its age; hand it in again.")
        upload.state, upload.message, upload.settled_at = "kept", None, None
    return upload


def _locked_upload(db: Session, *, site_id: int, upload_id: int) -> tuple[Site, Upload]:
    site = site_queries.locked_site(db, site_id)
    upload = queries.upload_of(db, site_id=site_id, upload_id=upload_id)
    if site is None or upload is None:
        raise NotFoundError("There is no such upload at this site.")
    return site, upload
