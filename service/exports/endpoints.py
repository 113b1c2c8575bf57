"""A site's data as a file, over HTTP."""

import tempfile
from datetime import date
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Query, Response
from fastapi.responses import FileResponse
from starlette.background import BackgroundTask

from service.context import Here
from service.exports.actions import file_name, write_export
from service.exports.names import Form, What
from service.exports.tables import Span
from service.exports.writers import FORMATS

router = APIRouter(prefix="/api/sites/{slug}", tags=["export"])

_EXAMPLE = "time,time_local,t_collector_c\n2025-06-01 10:00:00Z,2025-06-01T12:00:00+02:00,61.4\n"
_ANSWERS: dict[int | str, dict[str, Any]] = {
    200: {
        "description": "The file.",
        "content": {
            one.media_type.partition(";")[0]: (
                {"example": _EXAMPLE} if form == "csv" else {"schema": {"type": "string"}}
            )
            for form, one in FORMATS.items()
        },
    }
}


@router.get(
    "/export", response_class=Response, responses=_ANSWERS, summary="Take a site's data along"
)
def export(
    here: Here,
    slug: str,
    what: Annotated[What, Query(description="Which data.")] = "days",
    form: Annotated[Form, Query(alias="format", description="Which kind of file.")] = "csv",
    first: Annotated[
        date | None, Query(alias="from", description="First local day; default: all.")
    ] = None,
    last: Annotated[date | None, Query(alias="to", description="Last local day.")] = None,
) -> Response:
    """Give days, hours, readings, findings or savings as CSV, XLSX or Parquet.

    Times are in UTC, with the site's own clock beside them; units stand in the heads. Readings
    are a tidy log that can be handed in again.
    """
    handle = tempfile.NamedTemporaryFile(prefix="suntally-export-", delete=False)  # noqa: SIM115
    handle.close()
    path = Path(handle.name)
    try:
        with here.database.reading() as db:
            site = here.site(db, slug, may="see")
            write_export(
                db, site, what=what, form=form, span=Span(first=first, last=last), path=path
            )
            name = file_name(site, what=what, form=form)
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return FileResponse(
        path,
        media_type=FORMATS[form].media_type,
        filename=name,
        headers={"Cache-Control": "no-store"},
        background=BackgroundTask(path.unlink, missing_ok=True),
    )
