"""Weather of a site over HTTP: files, and the address that more is fetched from.

A request never asks the address itself; the worker does.
"""

import tempfile
from datetime import UTC, datetime
from typing import IO, Annotated

from fastapi import APIRouter, Depends, Query, Request, Response
from sqlalchemy.orm import Session
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile

from service.context import Context, Here, RowId
from service.db.models import Site, WeatherFile, WeatherSource
from service.errors import InvalidError
from service.ingest.actions import drop_bytes
from service.weather import actions, queries
from service.weather.schemas import (
    WeatherAddress,
    WeatherAddressShown,
    WeatherFileShown,
    WeatherShown,
)


def _somebody(here: Here) -> None:
    """Turn strangers away before their request is looked at."""
    with here.database.reading() as db:
        here.person(db, may="see")


router = APIRouter(
    prefix="/api/sites/{slug}/weather", tags=["weather"], dependencies=[Depends(_somebody)]
)

_IN_MEMORY = 4 * 1024 * 1024
_FILES_LISTED = 200


@router.get("")
def give_weather(here: Here, slug: str) -> WeatherShown:
    """Tell which weather is known, of which files, and how its address does."""
    with here.database.reading() as db:
        site = here.site(db, slug, may="see")
        return weather_shown(db, site)


@router.post("", status_code=202)
async def post_weather(
    request: Request,
    here: Here,
    slug: str,
    name: Annotated[str, Query(description="File name, where the body is the file.")] = "weather",
) -> WeatherFileShown:
    """Hand in a weather file of the log's own days: EPW, TMY3 layout, PVGIS hourly, tidy CSV.

    The body is the file, or a multipart form with one. It is read by the worker; what came of it
    shows under GET.
    """
    site_id = await run_in_threadpool(site_of, here, slug)
    if request.headers.get("content-type", "").startswith("multipart/form-data"):
        async with request.form(max_files=1) as form:
            part = next((one for one in form.values() if isinstance(one, UploadFile)), None)
            if part is None:
                raise InvalidError("The form holds no file; choose a weather file.")
            return await run_in_threadpool(keep, here, site_id, part.file, part.filename or "")
    with tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY) as spool:
        async for chunk in request.stream():
            await run_in_threadpool(spool.write, chunk)
        return await run_in_threadpool(keep, here, site_id, spool, name)


@router.delete("/files/{file_id}", status_code=204)
def delete_file(here: Here, slug: str, file_id: RowId) -> None:
    """Forget a weather file and what it told."""
    forget_file(here, slug, file_id)


@router.put("/source")
def set_source(here: Here, slug: str, wanted: WeatherAddress) -> WeatherAddressShown:
    """Set the address that the worker fetches weather from, for logged days that have none."""
    with here.database.session() as db:
        site = here.site(db, slug, may="arrange")
        source = actions.set_source(
            db,
            site=site,
            url=wanted.url,
            allow_private=here.settings.weather_private_hosts,
            now=here.now(),
        )
        return _address(source)


@router.delete("/source", status_code=204)
def delete_source(here: Here, slug: str) -> Response:
    """Ask the address no more."""
    with here.database.session() as db:
        actions.drop_source(db, site=here.site(db, slug, may="arrange"))
    return Response(status_code=204)


def site_of(here: Context, slug: str) -> int:
    """Give the number of the site that weather is for, and note who hands it in."""
    with here.database.session() as db:
        return here.site(db, slug, may="arrange").id


def keep(here: Context, site_id: int, file: IO[bytes], name: str) -> WeatherFileShown:
    """Keep a weather file."""
    found = actions.receive(
        here.database,
        raw=here.raw,
        site_id=site_id,
        file=file,
        name=name,
        via="page" if "sec-fetch-site" in here.request.headers else "api",
        now=here.now(),
    )
    return _file(found)


def forget_file(here: Context, slug: str, file_id: int) -> None:
    """Forget a weather file, and its bytes where nothing else refers to them."""
    with here.database.session() as db:
        site = here.site(db, slug, may="arrange")
        sha256 = actions.drop_file(db, site=site, file_id=file_id, now=here.now())
    drop_bytes(here.database, raw=here.raw, hashes=[sha256])


def weather_shown(db: Session, site: Site) -> WeatherShown:
    """Give the weather of a site as the API shows it."""
    source = db.get(WeatherSource, site.id)
    days = queries.covered_days(db, site_id=site.id)
    files = queries.files_of(db, site_id=site.id, limit=_FILES_LISTED)
    return WeatherShown(
        files=[_file(one) for one in files],
        source=None if source is None else _address(source),
        days_known=len(days),
        first_day=min(days, default=None),
        last_day=max(days, default=None),
    )


def _address(source: WeatherSource) -> WeatherAddressShown:
    return WeatherAddressShown(
        url=source.url, asked_at=source.asked_at, next_at=source.next_at, problem=source.problem
    )


def _file(file: WeatherFile) -> WeatherFileShown:
    covers = None
    if file.first_s is not None and file.last_s is not None:
        covers = (
            datetime.fromtimestamp(file.first_s, UTC),
            datetime.fromtimestamp(file.last_s, UTC),
        )
    return WeatherFileShown(
        id=file.id,
        name=file.name,
        sha256=file.sha256,
        size_bytes=file.size_bytes,
        via=file.via,
        state=file.state,
        message=file.message,
        hours=file.hours,
        covers=covers,
        received_at=file.received_at,
    )
