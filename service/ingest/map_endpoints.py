"""Answering a log that waits: a map as JSON, in place of the page that shows it."""

from typing import Annotated, Any

from fastapi import APIRouter, Body

from analysis.errors import AnalysisError, SiteFileError
from analysis.site import ColumnMeaning, LogMap
from analysis.sitefile import parse_map, parse_site
from analysis.sitefile_write import map_to_toml
from dashboards.format import sentence
from service.context import Here, RowId
from service.errors import ConflictError, InvalidError, NotFoundError
from service.ingest import actions, queries
from service.ingest.answers import together
from service.ingest.previews import look, save_map, sources_of, waiting_of
from service.ingest.schemas import GivenMap, UploadShown
from service.ingest.shown import upload_shown

router = APIRouter(prefix="/api/sites/{slug}/uploads", tags=["logs"])

_EXAMPLE: dict[str, Any] = {
    "summary": "Three columns of a logger whose clock stays on winter time",
    "value": {
        "timezone": "Etc/GMT-1",
        "decimal": ",",
        "columns": {
            "S1": {"channel": "collector", "unit": "C"},
            "S2": {"channel": "store_bottom", "unit": "C"},
            "R1": {"channel": "pump", "unit": "on/off"},
        },
    },
}


@router.post("/{upload_id}/map", status_code=202)
def accept(
    here: Here,
    slug: str,
    upload_id: RowId,
    given: Annotated[GivenMap, Body(openapi_examples={"columns and clock": _EXAMPLE})],
) -> UploadShown:
    """Say what the columns of a log that waits hold, and have it read.

    The map is laid over the site's own and saved in its file, so it holds for other logs written
    the same way; columns that it does not name are left out. Nothing changes where the log cannot
    be read with it (422), or where it does not wait (409).
    """
    with here.database.reading() as db:
        site = here.site(db, slug, may="log")
        waiting = waiting_of(db, site=site, upload_id=upload_id)
    if waiting.state != "asking":
        raise ConflictError("This file waits for no answer.")
    facts = parse_site(waiting.site_text)
    try:
        log_map = parse_map(map_to_toml(together(facts.log, _map_of(given))))
        sources = sources_of(waiting, raw=here.raw, limit_bytes=here.settings.max_unpacked_bytes)
        now, _ = look(
            sources,
            site=facts,
            told=log_map,
            log_map=log_map,
            now_s=int(here.now().timestamp()),
        )
        with here.database.session() as db:
            caller = here.person(db, may="log")
            site = here.site_of(db, caller, slug)
            save_map(
                db,
                site=site,
                log_map=log_map,
                found=now,
                seen=waiting.despite,
                who=caller.who,
                now=here.now(),
            )
            actions.ask_again(db, site_id=site.id)
            upload = queries.upload_of(db, site_id=site.id, upload_id=upload_id)
            if upload is None:
                raise NotFoundError("There is no such file at this site.")
            return upload_shown(slug, upload)
    except AnalysisError as error:
        said = error.what if isinstance(error, SiteFileError) else str(error)
        raise InvalidError(sentence(said)) from None
    except ConflictError as error:
        raise InvalidError(error.detail) from None


def _map_of(given: GivenMap) -> LogMap:
    said = given.model_dump(exclude={"columns"}, exclude_none=True)
    columns = tuple(
        (head, ColumnMeaning(channel=one.channel, unit=one.unit))
        for head, one in given.columns.items()
    )
    return LogMap(columns=columns, **said)
