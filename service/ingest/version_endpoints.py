"""Undoing and redoing a file, its set-aside rows as CSV, and the summary of a drop of many."""

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Query, Response

from service.context import Context, Here, RowId
from service.errors import InvalidError, NotFoundError
from service.ingest import actions, queries
from service.ingest.schemas import DropShown, UploadShown
from service.ingest.set_aside import as_csv, set_aside_of
from service.ingest.shown import Naming, upload_shown

router = APIRouter(prefix="/api/sites/{slug}/uploads", tags=["logs"])

_MOST_ASKED = 5000
_TOLD = 50


@router.get("/summary")
def summarise(
    here: Here, slug: str, ids: Annotated[str, Query(description="Numbers with commas.")] = ""
) -> DropShown:
    """Say what became of a drop of files: counts by state, and those that want a look."""
    numbers = _numbers(ids)
    with here.database.reading() as db:
        site = here.any_site(db, slug, may="see")
        uploads = queries.uploads_of_ids(db, site_id=site.id, ids=numbers)
        states: dict[str, int] = {}
        for upload in uploads:
            states[upload.state] = states.get(upload.state, 0) + 1
        odd = [one for one in uploads if one.state in ("refused", "asking")]
        return DropShown(
            states=states,
            rows_read=sum(one.rows_read or 0 for one in uploads),
            rows_kept=sum(one.rows_kept or 0 for one in uploads),
            rows_duplicate=sum(one.rows_duplicate or 0 for one in uploads),
            rows_rejected=sum(one.rows_rejected or 0 for one in uploads),
            wanting=[upload_shown(slug, one) for one in odd[:_TOLD]],
        )


def _numbers(text: str) -> list[int]:
    parts = [part for part in text.split(",") if part]
    if len(parts) > _MOST_ASKED or not all(part.isascii() and part.isdigit() for part in parts):
        raise InvalidError("Give the numbers of uploads with commas between them.", field="ids")
    return sorted({int(part) for part in parts if len(part) < 10})


@router.post("/{upload_id}/undo")
def undo(here: Here, slug: str, upload_id: RowId) -> UploadShown:
    """Take a file's rows out again; what it had replaced is in force as it was before."""
    with here.database.session() as db:
        site = here.site(db, slug, may="log")
        upload = actions.undo_upload(db, site_id=site.id, upload_id=upload_id, now=here.now())
        return upload_shown(slug, upload, naming=Naming.of(db, site.id))


@router.post("/{upload_id}/redo")
def redo(here: Here, slug: str, upload_id: RowId) -> UploadShown:
    """Have an undone file count again."""
    with here.database.session() as db:
        site = here.site(db, slug, may="log")
        upload = actions.redo_upload(db, site_id=site.id, upload_id=upload_id)
        return upload_shown(slug, upload)


@router.get("/{upload_id}/set-aside.csv")
def give_set_aside(here: Here, slug: str, upload_id: RowId) -> Response:
    """Give every row and cell of a file that was set aside: file, line, column, value, reason."""
    return set_aside_answer(here, slug, upload_id)


def set_aside_answer(here: Context, slug: str, upload_id: int) -> Response:
    """Build the download."""
    with here.database.reading() as db:
        site = here.any_site(db, slug, may="see")
        upload = queries.upload_of(db, site_id=site.id, upload_id=upload_id)
        if upload is None or upload.sha256 is None:
            raise NotFoundError("There is no such file at this site.")
        if upload.bytes_gone_at is not None:
            raise NotFoundError("The file itself was removed for its age.")
        sha256, name, text = upload.sha256, upload.name, site.text
    rows = set_aside_of(
        raw=here.raw,
        sha256=sha256,
        name=name,
        site_text=text,
        now_s=int(here.now().timestamp()),
        limit_bytes=here.settings.max_unpacked_bytes,
    )
    file = quote(f"set aside of {name}.csv")
    disposition = f"attachment; filename=\"set-aside.csv\"; filename*=UTF-8''{file}"
    return Response(
        "\ufeff" + as_csv(rows),  # spreadsheets know UTF-8 by it
        media_type="text/csv; charset=utf-8",
        headers={
            "Content-Disposition": disposition,
            "Cache-Control": "no-store",
        },
    )
