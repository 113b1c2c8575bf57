"""The site register over HTTP."""

from datetime import timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Body, Query, Response
from pydantic import ValidationError

from analysis.errors import SiteFileError
from analysis.sitefile import parse_site
from service.assessments import queries as assessment_queries
from service.context import Here, RowId
from service.db.models import ApiKey, Site
from service.errors import InvalidError
from service.sites import actions, queries
from service.sites.form import site_file_from_form
from service.sites.schemas import KeyMade, KeyShown, NewKey, ReadingShown, SiteShown

router = APIRouter(prefix="/api/sites", tags=["sites"])

SiteFile = Annotated[
    bytes, Body(media_type="application/toml", description="The site file, TOML text.")
]


@router.get("")
def list_sites(here: Here) -> list[SiteShown]:
    """List the sites by name."""
    with here.database.reading() as db:
        caller = here.person(db, may="see")
        found = assessment_queries.sites_pending(db, firm_id=caller.firm_id)
        return [shown(site, pending=pending) for site, pending in found]


@router.post("", status_code=201)
def add_site(here: Here, body: SiteFile) -> SiteShown:
    """Add a site from its site file."""
    with here.database.session() as db:
        caller = here.person(db, may="arrange")
        try:
            site = actions.register_site(
                db, firm_id=caller.firm_id, text=text_of(body), now=here.now()
            )
        except SiteFileError as error:
            raise refused(error) from None
        return shown(site)


@router.post("/form", status_code=201)
def add_site_by_form(here: Here, fields: Annotated[dict[str, str], Body()]) -> SiteShown:
    """Add a site from form fields named by the site file's keys, such as `array.1.tilt_deg`."""
    with here.database.session() as db:
        caller = here.person(db, may="arrange")
        try:
            text = site_file_from_form(fields)
            site = actions.register_site(db, firm_id=caller.firm_id, text=text, now=here.now())
        except SiteFileError as error:
            raise refused(error) from None
        return shown(site)


@router.get("/{slug}/file")
def give_file(here: Here, slug: str) -> Response:
    """Give the site file as it was handed in."""
    with here.database.reading() as db:
        text = here.site(db, slug, may="see").text
    return Response(text, media_type="application/toml")


@router.put("/{slug}/file")
def replace_file(here: Here, slug: str, body: SiteFile) -> dict[str, Any]:
    """Replace the site file; the old one is kept and every day is analysed again."""
    with here.database.session() as db:
        caller = here.person(db, may="arrange")
        site = here.site_of(db, caller, slug)
        try:
            note = actions.replace_site_file(
                db, site=site, text=text_of(body), who=caller.who, now=here.now()
            )
        except SiteFileError as error:
            raise refused(error) from None
        return {**shown(site).model_dump(), "note": note}


@router.get("/{slug}/readings")
def list_readings(here: Here, slug: str) -> list[ReadingShown]:
    """List the meter readings taken by hand, the oldest first."""
    with here.database.reading() as db:
        facts = parse_site(here.site(db, slug, may="see").text)
    return [
        ReadingShown(at=one.at, heat_register_kwh=one.heat_register_kwh, who=one.who)
        for one in facts.readings
    ]


@router.post("/{slug}/readings", status_code=201)
def add_reading(here: Here, slug: str, fields: Annotated[dict[str, Any], Body()]) -> ReadingShown:
    """Note a meter reading: `at` with zone, `heat_register_kwh`, `who`.

    It is written into the site file, where it can be changed again.
    """
    with here.database.session() as db:
        caller = here.person(db, may="log")
        site = here.site_of(db, caller, slug)
        try:
            reading = ReadingShown.model_validate(fields)
        except ValidationError as error:
            first = error.errors()[0]
            field = ".".join(map(str, first["loc"]))
            raise InvalidError(f"{field}: {first['msg']}.", field=field) from None
        if reading.at > here.now() + timedelta(days=1):
            raise InvalidError("The reading is in the future; check its date.", field="at")
        try:
            actions.add_reading(
                db,
                site=site,
                at=reading.at,
                register_kwh=reading.heat_register_kwh,
                who=reading.who,
                noted_by=caller.who,
                now=here.now(),
            )
        except SiteFileError as error:
            raise refused(error) from None
    return reading


@router.delete("/{slug}")
def delete_site(
    here: Here,
    slug: str,
    confirm: Annotated[str, Query(description="The site's name, to confirm.")] = "",
) -> dict[str, str]:
    """Delete a site; for a while it can be brought back."""
    with here.database.session() as db:
        site = here.site(db, slug, may="arrange")
        actions.delete_site(db, site=site, confirm=confirm, now=here.now())
    until = here.now() + timedelta(days=here.settings.undo_days)
    return {"restore": f"/api/sites/{slug}/restore", "until": until.isoformat()}


@router.post("/{slug}/restore")
def restore_site(here: Here, slug: str) -> SiteShown:
    """Bring a deleted site back."""
    with here.database.session() as db:
        caller = here.person(db, may="arrange")
        site = actions.restore_site(db, firm_id=caller.firm_id, slug=slug, now=here.now())
        return shown(site)


@router.get("/{slug}/keys")
def list_keys(here: Here, slug: str) -> list[KeyShown]:
    """List the gateway keys in use; their texts are not kept."""
    with here.database.reading() as db:
        site = here.site(db, slug, may="arrange")
        return [_key(key) for key in queries.keys_of(db, site_id=site.id)]


@router.post("/{slug}/keys", status_code=201)
def make_key(here: Here, slug: str, wanted: NewKey | None = None) -> KeyMade:
    """Make a gateway key; its text is shown this once."""
    with here.database.session() as db:
        site = here.site(db, slug, may="arrange")
        label = wanted.label if wanted is not None else "gateway"
        key, secret = actions.make_key(db, site=site, label=label, now=here.now())
        return KeyMade(**_key(key).model_dump(), key=secret)


@router.delete("/{slug}/keys/{key_id}", status_code=204)
def revoke_key(here: Here, slug: str, key_id: RowId) -> None:
    """Make a gateway key useless."""
    with here.database.session() as db:
        site = here.site(db, slug, may="arrange")
        actions.revoke_key(db, site=site, key_id=key_id, now=here.now())


def shown(site: Site, *, pending: str | None = None) -> SiteShown:
    """Give a site as the API shows it."""
    return SiteShown(
        slug=site.slug,
        name=site.name,
        timezone=site.timezone,
        version=site.version,
        problem=site.problem,
        pending=pending,
    )


def text_of(body: bytes) -> str:
    """Decode a site file."""
    try:
        return body.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InvalidError(
            "The site file is not UTF-8 text; save it as UTF-8 and send it again."
        ) from None


def refused(error: SiteFileError) -> InvalidError:
    """Turn a refused site file into an answer that names key and line."""
    return InvalidError(str(error), key=error.key, line=error.line)


def _key(key: ApiKey) -> KeyShown:
    return KeyShown(id=key.id, label=key.label, created_at=key.created_at)
