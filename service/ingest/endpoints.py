"""Uploads and series over HTTP; gateways' batches: `push_endpoints`.

Access is checked before a body is read, and bodies are streamed to disk.
"""

import tempfile
from datetime import date, datetime, timedelta
from typing import IO, Annotated, Any

from fastapi import APIRouter, Query, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile

from analysis.days import local_midnight_s
from service.assessments import queries as assessment_queries
from service.context import Context, Here, RowId
from service.errors import InvalidError, NotFoundError
from service.ingest import actions, queries
from service.ingest.schemas import Series, UploadShown, UploadsShown
from service.ingest.series import plot_series
from service.ingest.shown import Naming, upload_shown

router = APIRouter(prefix="/api/sites/{slug}", tags=["logs"])

_MOST_FILES = 1000
_UPLOADS_LISTED = 400
# A year of minutes and some; what a plot is made from is held in memory.
_MOST_PLOTTED = 600_000
_IN_MEMORY = 4 * 1024 * 1024
# A century and more to both sides of 1970; near the ends of the calendar days have no neighbours.
_FAREST_S = 5_000_000_000

_SLOW: dict[int | str, dict[str, Any]] = {
    408: {"description": "Too little of the body comes; nothing of it was stored. Send it again."}
}


@router.post("/logs", status_code=202, responses=_SLOW)
async def post_logs(
    request: Request,
    here: Here,
    slug: str,
    response: Response,
    name: Annotated[str, Query(description="File name, where the body is the file.")] = "log.csv",
) -> UploadsShown:
    """Hand in logs: the body is one file, or a multipart form with any number of files.

    The bytes are safe when the answer comes; what was understood shows under `status_url`. A body
    may take its time, but less than 1 kB a second, or nothing for a minute, ends in 408.
    """
    site_id = await run_in_threadpool(_noted_site_id, here, slug)
    if request.headers.get("content-type", "").startswith("multipart/form-data"):
        shown = await _from_form(request, here, slug, site_id)
    else:
        shown = [await _from_body(request, here, slug, site_id, name)]
    if all(upload.state != "kept" for upload in shown):
        response.status_code = 200
    return UploadsShown(uploads=shown, pending=await run_in_threadpool(_pending, here, site_id))


async def _from_form(request: Request, here: Context, slug: str, site_id: int) -> list[UploadShown]:
    async with request.form(max_files=_MOST_FILES, max_fields=_MOST_FILES) as form:
        files = [part for _, part in form.multi_items() if isinstance(part, UploadFile)]
        if not files:
            raise InvalidError("The form holds no file; choose at least one log.")
        return [
            await run_in_threadpool(_keep, here, slug, site_id, part.file, part.filename or "log")
            for part in files
        ]


async def _from_body(
    request: Request, here: Context, slug: str, site_id: int, name: str
) -> UploadShown:
    with tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY) as spool:
        async for chunk in request.stream():
            await run_in_threadpool(spool.write, chunk)
        return await run_in_threadpool(_keep, here, slug, site_id, spool, name)


def _keep(here: Context, slug: str, site_id: int, file: IO[bytes], name: str) -> UploadShown:
    upload = actions.receive(
        here.database,
        raw=here.raw,
        site_id=site_id,
        file=file,
        name=name,
        via="browser" if "sec-fetch-site" in here.request.headers else "api",
        now=here.now(),
    )
    return upload_shown(slug, upload)


@router.get("/uploads")
def list_uploads(here: Here, slug: str) -> UploadsShown:
    """List what was handed in lately, the newest first, and what is still to do."""
    with here.database.reading() as db:
        site = here.any_site(db, slug, may="see")
        uploads = queries.list_uploads(db, site.id, limit=_UPLOADS_LISTED)
        naming = Naming.of(db, site.id)
        return UploadsShown(
            uploads=[upload_shown(slug, upload, naming=naming) for upload in uploads],
            pending=assessment_queries.pending_of(db, site_id=site.id),
        )


@router.get("/uploads/{upload_id}")
def give_upload(here: Here, slug: str, upload_id: RowId) -> UploadShown:
    """Tell what became of one upload."""
    with here.database.reading() as db:
        site = here.any_site(db, slug, may="see")
        upload = queries.upload_of(db, site_id=site.id, upload_id=upload_id)
        if upload is None:
            raise NotFoundError("There is no such upload at this site.")
        return upload_shown(slug, upload, naming=Naming.of(db, site.id))


@router.get("/series")
def give_series(
    here: Here,
    slug: str,
    start: Annotated[str, Query(alias="from", description="Local day or instant with zone.")],
    end: Annotated[str, Query(alias="to", description="Local day, included, or instant.")],
    channels: Annotated[str, Query(description="Channel names with commas; empty: all.")] = "",
    points: Annotated[int, Query(ge=4, le=20_000)] = 2000,
) -> Series:
    """Give channels over time for a plot, reduced to lowest and highest of each bucket."""
    with here.database.reading() as db:
        site = here.any_site(db, slug, may="see")
        start_s = _moment_s(start, timezone=site.timezone, field="from")
        end_s = _moment_s(end, timezone=site.timezone, field="to", days=1)
        rows = queries.count_rows(db, site_id=site.id, start_s=start_s, end_s=end_s)
        if rows > _MOST_PLOTTED:
            raise InvalidError(
                f"These are {rows} rows; ask for a shorter span, of at most {_MOST_PLOTTED}.",
                field="to",
            )
        record = queries.load_record(
            db, site_id=site.id, start_s=start_s, end_s=end_s, extremes=True
        )
    if record is None:
        return Series(start_s=[], columns={}, reduced=False)
    wanted = [name.strip() for name in channels.split(",") if name.strip()] or None
    time_s, columns, reduced = plot_series(record, channels=wanted, points=points)
    return Series(
        start_s=time_s.tolist(),
        columns={
            name: [None if value != value else round(value, 3) for value in values.tolist()]
            for name, values in columns.items()
        },
        reduced=reduced,
    )


def _moment_s(text: str, *, timezone: str, field: str, days: int = 0) -> int:
    """Read a local day (its start, `days` later) or an instant with its zone."""
    moment_s: int | None
    try:
        if len(text) == 10:
            moment_s = local_midnight_s(date.fromisoformat(text) + timedelta(days=days), timezone)
        else:
            moment = datetime.fromisoformat(text.replace(" ", "+"))
            moment_s = int(moment.timestamp()) if moment.tzinfo is not None else None
    except (ValueError, OverflowError):
        moment_s = None
    if moment_s is None or abs(moment_s) > _FAREST_S:
        raise InvalidError(
            f"“{text[:60]}” is neither a day such as 2025-06-01 nor an instant such as "
            "2025-06-01T12:00:00Z.",
            field=field,
        )
    return moment_s


def _noted_site_id(here: Context, slug: str) -> int:
    """Give the number of the site that a log is for, and note who hands it in."""
    with here.database.session() as db:
        return here.any_site(db, slug, may="log").id


def _pending(here: Context, site_id: int) -> str | None:
    with here.database.reading() as db:
        return assessment_queries.pending_of(db, site_id=site_id)
