"""The form for what somebody reads off a heat meter during a visit."""

from datetime import datetime, timedelta
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Form, Response

from analysis.errors import SiteFileError
from analysis.logs.numbers import meanings
from analysis.sitefile import parse_site
from dashboards.format import moment, number, sentence
from dashboards.links import site_path
from service.context import Context, Here
from service.pages import loading
from service.pages.answers import page, see_other
from service.sites import actions

router = APIRouter(include_in_schema=False)


@router.get("/sites/{slug}/readings")
def readings(here: Here, slug: str) -> Response:
    """Show the readings and the form."""
    return _page(here, slug, {}, None)


def _page(here: Context, slug: str, values: dict[str, str], problem: str | None) -> Response:
    with here.database.reading() as db:
        loaded = loading.load(db, here, slug)
    zone = loaded.row.timezone
    return page(
        "readings.html",
        status=422 if problem else 200,
        site=loaded.head,
        values=values,
        choices=_choices(values),
        problem=problem,
        now=f"{here.now().astimezone(ZoneInfo(zone)):%Y-%m-%dT%H:%M}",
        zone=zone,
        readings=[
            {
                "when": moment(int(one.at.timestamp()), zone),
                "kwh": number(one.heat_register_kwh, decimals=1),
                "who": one.who or "",
            }
            for one in reversed(loaded.facts.readings)
        ],
    )


@router.post("/sites/{slug}/readings")
def add(
    here: Here,
    slug: str,
    at: Annotated[str, Form()] = "",
    kwh: Annotated[str, Form()] = "",
    who: Annotated[str, Form()] = "",
    meant: Annotated[str, Form()] = "",
) -> Response:
    """Note a reading; what was typed stays where it cannot be used."""
    values = {"at": at, "kwh": kwh, "who": who, "meant": meant}
    try:
        with here.database.session() as db:
            caller = here.person(db, may="log")
            site = here.site_of(db, caller, slug)
            zone = ZoneInfo(parse_site(site.text).place.timezone)
            when = datetime.fromisoformat(at).replace(tzinfo=zone)
            if when > here.now() + timedelta(days=1):
                raise ValueError("the reading is in the future; check its date")
            actions.add_reading(
                db,
                site=site,
                at=when,
                register_kwh=_kwh(kwh, meant),
                who=who.strip()[:200] or None,
                noted_by=caller.who,
                now=here.now(),
            )
    except SiteFileError as error:
        return _page(here, slug, values, sentence(error.what))
    except ValueError as error:
        said = str(error) if "reading" in str(error) else "date and time are needed"
        return _page(here, slug, values, sentence(said))
    return see_other(f"{site_path(slug)}/readings")


def _kwh(text: str, meant: str) -> float:
    """Read what a person types with either decimal sign; `meant` is chosen where both fit."""
    found = meanings(text)
    if not found:
        raise ValueError(
            "the reading is no number; type what the meter shows in kWh, such as 12345.6"
        )
    chosen = [value for value in found if repr(value) == meant]
    if len(found) > 1 and not chosen:
        raise ValueError("the reading can be two numbers; choose the one that the meter shows")
    return (chosen or list(found))[0]


def _choices(values: dict[str, str]) -> list[dict[str, object]]:
    """Give the numbers to choose from where what was typed can be two."""
    found = meanings(values.get("kwh", ""))
    return [
        {
            "value": repr(value),
            "words": f"{value:.3f}".rstrip("0").rstrip(".") + " kWh",
            "chosen": repr(value) == values.get("meant"),
        }
        for value in found
        if len(found) > 1
    ]
