"""A kept upload is read: its rows are stored, or it waits for an answer, or it is refused whole."""

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from analysis.blocks import Block
from analysis.errors import AnalysisError, LogError
from analysis.logs.asking import Question
from analysis.logs.shapes import FileRead, ParsedLog
from analysis.site import LogMap
from analysis.sitefile import parse_site
from service.clock import Clock
from service.db.engine import VALUES_LOCK, Database, one_at_a_time
from service.db.models import Site, Upload
from service.ingest import queries
from service.ingest.closed import left_out_words
from service.ingest.files import RawStore
from service.ingest.storing import OtherSiteError, store_rows
from service.jobs import claims
from service.settings import Settings
from service.sites import queries as site_queries
from service.webhooks.actions import tell_of_refusal

# The key of `[log]` that answers a question about a whole file.
_ANSWERED_BY = {
    "time_zone": "timezone",
    "decimal": "decimal",
    "date_order": "date_order",
    "time": "time_format",
    "stamp": "stamp",
    "table": "table",
    "cells": "cells",
}


def of_another(name: str, what: str, *, other: Site, site: Site) -> str:
    """Say that values are stored for another site, which is named within its firm only."""
    where = f"“{other.name}”" if other.firm_id == site.firm_id else "another installation"
    return (
        f"{name}: {what} already stored for {where}; choose the log of “{site.name}”, or, if it "
        "was given to the wrong installation first, delete it there"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Job:
    """What the worker has to read."""

    upload_id: int
    sha256: str
    name: str
    site_id: int
    site_text: str
    site_version: int


class _AskingError(Exception):
    """Something is open that a person has to answer before rows can be stored."""

    def __init__(self, why: str, files: list[dict[str, Any]]) -> None:
        super().__init__(why)
        self.why = why
        self.files = files


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
    """Read a kept upload and store its rows, let it wait for an answer, or refuse it as a whole.

    The claim `key` of `holder` ends in the transaction that settles the upload.
    """
    with database.reading() as db:
        job = _job(db, upload_id)
    if job is None:
        with database.session() as db:
            claims.finish(db, key=key, holder=holder)
        return
    read = refusal = asking = None
    try:
        read = _read(job, raw=raw, settings=settings, clock=clock)
    except _AskingError as error:
        asking = error
    except AnalysisError as error:
        refusal = str(error)
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
        if asking is not None:
            _leave(upload, "asking", asking.why, files=asking.files, now=clock.now())
        if refusal is not None:
            _leave(upload, "refused", refusal, files=[], now=clock.now())
            tell_of_refusal(db, site=site, name=upload.name, why=refusal, now=clock.now())


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
    from analysis.clock_check.whole_log import clock_question, look_at_clock
    from analysis.logs.against_map import contradicting, contradiction
    from analysis.logs.archives import unpack
    from analysis.logs.proposed_map import columns_of
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
    try:
        parsed = read_logs(sources, site=site, now_s=int(clock.now().timestamp()), beyond_map=False)
    except LogError as error:
        open_ones = unanswered(error.questions, site.log)
        if open_ones:
            raise _AskingError(_waits_for(open_ones), []) from None
        raise
    waits = waits_for(parsed, site.log)
    if waits is not None:
        raise _AskingError(waits, [_account(one) for one in parsed.files])
    contradicted = contradiction(parsed)
    if contradicted is not None:
        files = [_account(one) for one in parsed.files]
        why = f"{contradicted}; look, and accept it here"
        files[0] |= {"contradicts": why, "despite": contradicting(columns_of(parsed.files))}
        raise _AskingError(f"it waits for you: {why}", files)
    record = record_from_stamps(stamp_s=parsed.stamp_s, columns=parsed.columns, stamp=parsed.stamp)
    misfit = check_sun(site=site, record=record)
    if misfit is not None:
        seen = look_at_clock(parsed, site=site, log_map=site.log)
        asked = clock_question(seen, files=[one.name for one in parsed.files])
        if asked is not None:
            why = f"it waits for an answer: {misfit}. As the clock is looked at, {asked.why}"
            raise _AskingError(why, [_account(one) for one in parsed.files])
        raise LogError(misfit, file=job.name)
    count = parsed.rows
    return _Read(
        rows=Block(stamp_s=parsed.stamp_s, columns=parsed.columns),
        stamp=parsed.stamp,
        counts=(count.read, count.kept, count.duplicate, count.rejected),
        problems=[asdict(problem) for problem in parsed.rejected],
        files=[_account(one) for one in parsed.files],
    )


def unanswered(questions: Iterable[Question], log_map: LogMap) -> tuple[Question, ...]:
    """Give the questions that a map does not answer."""
    entries = {head for head, _ in log_map.columns}
    return tuple(
        question
        for question in questions
        if question.subject not in entries
        and getattr(log_map, _ANSWERED_BY.get(question.kind, ""), None) is None
    )


def waits_for(parsed: ParsedLog, log_map: LogMap) -> str | None:
    """Say what a log waits for before it counts; None where map and plain heads say everything.

    A meaning that was worked out from words and physics, however sure, is shown first.
    """
    open_ones = unanswered(parsed.questions, log_map)
    if open_ones:
        return _waits_for(open_ones)
    proposed = [
        column.key
        for one in parsed.files
        for column in (one.understood.columns if one.understood is not None else ())
        if column.source == "proposal" and column.meaning is not None
    ]
    if not proposed:
        return None
    heads = list(dict.fromkeys(proposed))
    return f"what its {len(heads)} columns hold was worked out; look and accept it"


def _waits_for(questions: tuple[Question, ...]) -> str:
    first = questions[0]
    named = f"“{first.subject}”: " if first.subject and first.kind in ("column", "unit") else ""
    more = f" (and {len(questions) - 1} more to answer)" if len(questions) > 1 else ""
    return f"it waits for an answer: {named}{first.why}{more}"


def _account(one: FileRead) -> dict[str, Any]:
    """Give how a file was read as JSON; the full account can be had by reading it again."""
    return {
        "name": one.name,
        "rows": one.rows,
        "first_s": one.first_s,
        "last_s": one.last_s,
        "dialect": one.dialect,
        "columns": [asdict(column) for column in one.columns],
        "ignored": list(one.ignored),
        "set_aside": [asdict(group) for group in one.set_aside],
    }


def _store(db: Session, *, site: Site, upload: Upload, read: _Read, now: datetime) -> str | None:
    """Store the rows; where they are another site's, give the reason to refuse them."""
    assert upload.sha256 is not None
    one_at_a_time(db, VALUES_LOCK)
    other = queries.site_with_bytes(db, sha256=upload.sha256, but_site_id=site.id)
    if other is not None:
        return of_another(upload.name, "this file is", other=other, site=site)
    try:
        with db.begin_nested():
            stored = store_rows(
                db, site=site, upload=upload, rows=read.rows, stamp=read.stamp, due_at=now
            )
    except OtherSiteError as error:
        return of_another(
            upload.name, "a whole day of exactly these values is", other=error.site, site=site
        )
    count = read.counts
    upload.rows_read = count[0]
    new = min(stored.new, count[1])  # figures of days may have got a row of their own
    upload.rows_kept = new
    upload.rows_duplicate = max(count[2] + (count[1] - new) - stored.closed, 0)
    upload.rows_rejected = count[3] + stored.closed
    upload.problems, upload.files = read.problems, read.files
    upload.state, upload.message, upload.settled_at = (
        "stored",
        _and(
            _replaced(stored.changed, stored.gone),
            left_out_words(stored.closed) if stored.closed else None,
        ),
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


def _and(*said: str | None) -> str | None:
    return ". ".join(one for one in said if one is not None) or None


def _leave(
    upload: Upload, state: str, why: str, *, files: list[dict[str, Any]], now: datetime
) -> None:
    """Note why nothing of an upload is stored."""
    upload.state, upload.message, upload.settled_at = state, why, now
    upload.rows_read = upload.rows_kept = upload.rows_duplicate = upload.rows_rejected = 0
    upload.problems, upload.files = [], files
