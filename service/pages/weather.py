"""The page of a site's weather: files, and the address that more is fetched from."""

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile

from dashboards.format import day, moment, number, plural, sentence
from dashboards.links import site_path
from service.context import Context, Here, RowId
from service.errors import InvalidError
from service.pages import loading
from service.pages.answers import page, see_other
from service.weather import actions
from service.weather.endpoints import forget_file, keep, site_of, weather_shown
from service.weather.schemas import WeatherFileShown, WeatherShown

router = APIRouter(include_in_schema=False)

_MESSAGES = {
    "sent": "The file is safely kept and being read. Load this page again in a moment.",
    "none": "No file was chosen.",
    "set": "The address is kept. It is asked within the next minute; load this page again then.",
    "gone": "The address is forgotten. The weather that it gave stays.",
    "dropped": "The file is forgotten. Every day is being looked at again.",
}


@router.get("/sites/{slug}/weather")
def weather(here: Here, slug: str, message: str | None = None) -> Response:
    """Show the weather of a site."""
    return _page(here, slug, message=_MESSAGES.get(message or ""))


def _page(
    here: Context,
    slug: str,
    *,
    message: str | None = None,
    url: str | None = None,
    problem: str | None = None,
) -> Response:
    with here.database.reading() as db:
        loaded = loading.load(db, here, slug)
        shown = weather_shown(db, loaded.row)
    zone = loaded.row.timezone
    source = shown.source
    return page(
        "weather.html",
        status=422 if problem else 200,
        site=loaded.head,
        message=message,
        known=_known(shown),
        files=[
            {
                "id": one.id,
                "name": one.name,
                "when": moment(int(one.received_at.timestamp()), zone),
                "says": _says(one, zone),
            }
            for one in shown.files
        ],
        url=url if url is not None else (source.url if source else ""),
        is_set=source is not None,
        problem=problem,
        trouble=sentence(source.problem) if source and source.problem else None,
        asked=moment(int(source.asked_at.timestamp()), zone)
        if source and source.asked_at
        else None,
        next=moment(int(source.next_at.timestamp()), zone) if source else None,
    )


def _known(shown: WeatherShown) -> str:
    if shown.first_day is None or shown.last_day is None:
        return "No weather is known yet."
    span = f"{_day(shown.first_day)} to {_day(shown.last_day)}"
    return f"Known for {plural(shown.days_known, 'whole day')} within {span} (UTC days)."


def _day(when: date) -> str:
    return day(when)


def _says(file: WeatherFileShown, zone: str) -> str:
    if file.state == "kept":
        return "Safely kept; being read."
    if file.state == "refused" or file.covers is None:
        return sentence(f"Refused: {(file.message or '').removeprefix(f'{file.name}: ')}")
    first, last = (moment(int(one.timestamp()), zone) for one in file.covers)
    return f"{number(file.hours)} hours with irradiance, {first} to {last}."


@router.post("/sites/{slug}/weather")
async def hand_in(request: Request, here: Here, slug: str) -> Response:
    """Take a weather file from the page's form."""
    site_id = await run_in_threadpool(site_of, here, slug)
    said = "none"
    async with request.form(max_files=1) as form:
        for part in form.values():
            if isinstance(part, UploadFile) and part.filename:
                await run_in_threadpool(keep, here, site_id, part.file, part.filename)
                said = "sent"
    return see_other(f"{site_path(slug)}/weather?message={said}")


@router.post("/sites/{slug}/weather/files/{file_id}/drop")
def drop(here: Here, slug: str, file_id: RowId) -> Response:
    """Forget a weather file."""
    forget_file(here, slug, file_id)
    return see_other(f"{site_path(slug)}/weather?message=dropped")


@router.post("/sites/{slug}/weather/source")
def set_address(
    here: Here, slug: str, url: Annotated[str, Form()] = "", what: Annotated[str, Form()] = "set"
) -> Response:
    """Set or forget the address."""
    try:
        with here.database.session() as db:
            site = here.site(db, slug, may="arrange")
            if what == "forget":
                actions.drop_source(db, site=site)
            else:
                allowed = here.settings.weather_private_hosts
                actions.set_source(db, site=site, url=url, allow_private=allowed, now=here.now())
    except InvalidError as error:
        return _page(here, slug, url=url, problem=error.detail)
    return see_other(f"{site_path(slug)}/weather?message={'gone' if what == 'forget' else 'set'}")
