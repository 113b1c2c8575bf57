"""Use cases of uploads: keep the bytes now, read and store them in the worker."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import IO, Any

from sqlalchemy.orm import Session

from analysis.errors import AnalysisError, LogError
from analysis.sitefile import parse_site
from service.clock import Clock
from service.db.engine import BYTES_LOCK, VALUES_LOCK, Database, one_at_a_time
from service.db.models import Site, Upload
from service.errors import ConflictError, NotFoundError
from service.ingest import queries
from service.ingest.blocks import Block
from service.ingest.files import Kept, RawStore
from service.ingest.storing import OtherSiteError, store_rows, take_out
from service.jobs import claims
from service.settings import Settings
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

    Bytes that were refused are tried once more: the site file may have changed since. Bytes that
    were undone count again.
    """
    if site_queries.locked_site(db, site.id) is None:
        raise NotFoundError("This site is gone.")
    one_at_a_time(db, BYTES_LOCK)
    found = queries.upload_of_bytes(db, site_id=site.id, sha256=kept.sha256)
    if found is not None:
        if found.state in ("refused", "undone"):
            found.state, found.message, found.settled_at = "kept", None, None
            found.name = _name(name)
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


def _name(given: str) -> str:
    return bare_name(given) or "log"


def bare_name(given: str) -> str:
    """Give a file's name without folders and signs that cannot be shown; it may be empty."""
    bare = given.replace("\\", "/").rsplit("/", 1)[-1].strip()
    return "".join(sign for sign in bare if sign.isprintable())[:_NAME_LENGTH]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Job:
    """What the worker has to read."""

    upload_id: int
    sha256: str
    name: str
    site_id: int
    site_text: str
    site_version: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Read:
    """What reading gave: rows and an account of them."""

    rows: Block
    stamp: Any
    counts: tuple[int, int, int, int]
    problems: list[dict[str, Any]]
    files: list[dict[str, Any]]


def settle_upload(
    database: Database,
    *,
    raw: RawStore,
    settings: Settings,
    clock: Clock,
    upload_id: int,
    holder: str,
    key: str,
) -> None:
    """Read a kept upload and store its rows, or refuse it as a whole.

    The claim `key` of `holder` ends in the transaction that settles the upload.
    """
    with database.reading() as db:
        job = _job(db, upload_id)
    if job is None:
        with database.session() as db:
            claims.finish(db, key=key, holder=holder)
        return
    try:
        read = _read(job, raw=raw, settings=settings, clock=clock)
        refusal = None
    except AnalysisError as error:
        read, refusal = None, str(error)
    with database.session() as db:
        site = site_queries.locked_site(db, job.site_id)
        upload = db.get(Upload, upload_id)
        claims.finish(db, key=key, holder=holder)
        if upload is None or upload.state != "kept" or site is None:
            return
        if site.version != job.site_version:
            return  # the facts changed meanwhile; it is still kept and comes round again
        if read is not None:
            refusal = _store(db, site=site, upload=upload, read=read, now=clock.now())
        if refusal is not None:
            _refuse(upload, refusal, now=clock.now())


def _job(db: Session, upload_id: int) -> _Job | None:
    upload = db.get(Upload, upload_id)
    if upload is None or upload.state != "kept" or upload.sha256 is None:
        return None
    site = db.get(Site, upload.site_id)
    if site is None or site.deleted_at is not None:
        return None
    return _Job(
        upload_id=upload.id,
        sha256=upload.sha256,
        name=upload.name,
        site_id=site.id,
        site_text=site.text,
        site_version=site.version,
    )


def _read(job: _Job, *, raw: RawStore, settings: Settings, clock: Clock) -> _Read:
    """Read the bytes; whatever makes them unusable is an AnalysisError in plain words."""
    from analysis.logs.archives import unpack
    from analysis.logs.reading import read_logs
    from analysis.record import record_from_stamps
    from analysis.sunfit import check_sun

    site = parse_site(job.site_text)
    try:
        data = raw.read(job.sha256)
    except FileNotFoundError:
        raise LogError(
            "its bytes are gone from the data folder; upload it again", file=job.name
        ) from None
    sources = unpack(job.name, data, limit_bytes=settings.max_unpacked_bytes)
    parsed = read_logs(sources, site=site, now_s=int(clock.now().timestamp()))
    record = record_from_stamps(stamp_s=parsed.stamp_s, columns=parsed.columns, stamp=parsed.stamp)
    misfit = check_sun(site=site, record=record)
    if misfit is not None:
        raise LogError(misfit, file=job.name)
    count = parsed.rows
    return _Read(
        rows=Block(stamp_s=parsed.stamp_s, columns=parsed.columns),
        stamp=parsed.stamp,
        counts=(count.read, count.kept, count.duplicate, count.rejected),
        problems=[asdict(problem) for problem in parsed.rejected],
        files=[asdict(one) for one in parsed.files],
    )


def _store(db: Session, *, site: Site, upload: Upload, read: _Read, now: datetime) -> str | None:
    """Store the rows; where they are another site's, give the reason to refuse them."""
    assert upload.sha256 is not None
    one_at_a_time(db, VALUES_LOCK)
    other = queries.site_with_bytes(db, sha256=upload.sha256, but_site_id=site.id)
    if other is not None:
        return _of_another(upload.name, "this file is", other=other, site=site)
    try:
        with db.begin_nested():
            stored = store_rows(
                db, site=site, upload=upload, rows=read.rows, stamp=read.stamp, due_at=now
            )
    except OtherSiteError as error:
        return _of_another(
            upload.name, "a whole day of exactly these values is", other=error.site, site=site
        )
    count = read.counts
    upload.rows_read = count[0]
    upload.rows_kept = stored.new
    upload.rows_duplicate = count[2] + (count[1] - stored.new)
    upload.rows_rejected = count[3]
    upload.problems, upload.files = read.problems, read.files
    upload.state, upload.message, upload.settled_at = (
        "stored",
        _replaced(stored.changed, stored.gone),
        now,
    )
    return None


def _replaced(changed: int, gone: int) -> str | None:
    """Say that the file put other values on times that had some: the later file counts."""
    if not changed and not gone:
        return None
    count = changed + gone
    rows = "1 row differs" if count == 1 else f"{count:,} rows differ"
    return (
        f"{rows} from what was stored for the same times, and this later file counts; what it "
        "replaced is kept, and undoing this file brings it back. If it is another installation's "
        "log, undo it and hand it in there"
    )


def _of_another(name: str, what: str, *, other: Site, site: Site) -> str:
    where = f"“{other.name}”" if other.firm_id == site.firm_id else "another installation"
    return (
        f"{name}: {what} already stored for {where}; choose the log of “{site.name}”, or, if it "
        "was given to the wrong installation first, delete it there"
    )


def _refuse(upload: Upload, why: str, *, now: datetime) -> None:
    upload.state, upload.message, upload.settled_at = "refused", why, now
    upload.rows_read = upload.rows_kept = upload.rows_duplicate = upload.rows_rejected = 0
    upload.problems, upload.files = [], []


def read_again(db: Session, *, site: Site, uploads: Sequence[Upload]) -> None:
    """Forget a site's rows and have its files read anew; its rules of reading changed."""
    queries.drop_blocks(db, site_id=site.id)
    site.stamp = None
    for upload in uploads:
        if upload.state == "stored":
            upload.state, upload.settled_at = "kept", None


def undo_upload(db: Session, *, site_id: int, upload_id: int, now: datetime) -> Upload:
    """Take a file's rows out again; what it had replaced is in force as it was before.

    Raises
    ------
    ConflictError : its rows are not in
    NotFoundError : there is no such upload
    """
    site, upload = _locked_upload(db, site_id=site_id, upload_id=upload_id)
    if upload.pushed_on is not None:
        raise ConflictError("Rows that a gateway pushed cannot be undone; no file holds them.")
    if upload.state == "undone":
        return upload
    if upload.state != "stored":
        raise ConflictError("The rows of this file are not in, so there is nothing to undo.")
    take_out(db, site=site, upload=upload, due_at=now)
    upload.state, upload.settled_at = "undone", now
    upload.message = "its rows were taken out; the file itself is kept"
    return upload


def redo_upload(db: Session, *, site_id: int, upload_id: int) -> Upload:
    """Have an undone file read again; it takes its old place among the others.

    Raises
    ------
    NotFoundError : there is no such upload
    """
    _, upload = _locked_upload(db, site_id=site_id, upload_id=upload_id)
    if upload.state == "undone":
        upload.state, upload.message, upload.settled_at = "kept", None, None
    return upload


def _locked_upload(db: Session, *, site_id: int, upload_id: int) -> tuple[Site, Upload]:
    site = site_queries.locked_site(db, site_id)
    upload = queries.upload_of(db, site_id=site_id, upload_id=upload_id)
    if site is None or upload is None:
        raise NotFoundError("There is no such upload at this site.")
    return site, upload


def push_rows(
    db: Session, *, site_id: int, rows: Block, size_bytes: int, now: datetime, settle_s: float
) -> tuple[int, int, int]:
    """Store a gateway's rows; the caller commits before it answers.

    Returns
    -------
    How many rows the batch held, how many were new, and how many changed known ones.

    Raises
    ------
    ConflictError : the values are another site's
    NotFoundError : the site is gone
    """
    site = site_queries.locked_site(db, site_id)
    if site is None:
        raise NotFoundError("This site is gone.")
    stamp = parse_site(site.text).log.stamp or "end"
    upload = _pushes_of_day(db, site=site, now=now)
    due_at = now + timedelta(seconds=settle_s)
    try:
        stored = store_rows(db, site=site, upload=upload, rows=rows, stamp=stamp, due_at=due_at)
    except OtherSiteError as error:
        raise ConflictError(
            _of_another(
                "batch", "a whole day of exactly these values is", other=error.site, site=site
            )
        ) from None
    upload.size_bytes += size_bytes
    upload.rows_read += len(rows)
    upload.rows_kept += stored.new
    upload.rows_duplicate += len(rows) - stored.new
    upload.settled_at = now
    return len(rows), stored.new, stored.changed


def _pushes_of_day(db: Session, *, site: Site, now: datetime) -> Upload:
    """Give the upload that counts what a gateway pushes today."""
    day = now.date()
    upload = queries.pushes_of(db, site_id=site.id, day=day)
    if upload is None:
        upload = Upload(
            site_id=site.id,
            pushed_on=day,
            name=f"gateway {day.isoformat()}",
            size_bytes=0,
            via="gateway",
            state="stored",
            rows_read=0,
            rows_kept=0,
            rows_duplicate=0,
            rows_rejected=0,
            problems=[],
            files=[],
            received_at=now,
        )
        db.add(upload)
        db.flush()
    return upload
