"""Pages that change something: installations, their facts, their logs, their gateways' keys."""

from collections.abc import Mapping
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile

from analysis.errors import SiteFileError
from dashboards.format import moment, sentence
from dashboards.links import site_path
from dashboards.site_form import GROUPS, field_of, refusal_words, sound_values
from service.context import Context, Here, RowId
from service.errors import ConflictError
from service.ingest import actions as ingest_actions
from service.pages import loading
from service.pages.answers import page, see_other
from service.sites import actions, queries
from service.sites.form import refusals_of_form, site_file_from_form

router = APIRouter(include_in_schema=False)

_MOST_FILES = 200


@router.get("/sites/new")
def new(here: Here) -> Response:
    """Show the form for a new installation."""
    with here.database.reading() as db:
        here.person(db, may="arrange")
    return _new_page({}, {}, None)


_NOT_ADDED = "Nothing was added yet. What is marked cannot be used."


def _new_page(
    values: Mapping[str, str], errors: Mapping[str, str], problem: str | None
) -> Response:
    opened = any(
        values.get(item.name) or item.name in errors
        for group in GROUPS
        if group.folded
        for item in group.fields
    )
    return page(
        "new.html",
        status=422 if problem else 200,
        groups=GROUPS,
        values=values,
        errors=errors,
        problem=problem,
        opened=opened,
    )


@router.post("/sites/new")
async def add(request: Request, here: Here) -> Response:
    """Add an installation from its site file or from the form."""
    async with request.form() as form:
        values = {name: value for name, value in form.items() if isinstance(value, str)}
    return await run_in_threadpool(_add, here, values)


def _add(here: Context, values: dict[str, str]) -> Response:
    by_file = "text" in values
    try:
        with here.database.session() as db:
            caller = here.person(db, may="arrange")
            text = values["text"] if by_file else site_file_from_form(values)
            site = actions.register_site(db, firm_id=caller.firm_id, text=text, now=here.now())
            slug = site.slug
    except SiteFileError as error:
        if by_file:
            return _new_page(values, {"text": sentence(str(error))}, _NOT_ADDED)
        refused = refusals_of_form(values, field_of=field_of, sound=sound_values())
        errors = {name: refusal_words(what) for name, what in refused.items()}
        return _new_page(values, errors, _NOT_ADDED if errors else sentence(error.what))
    return see_other(f"{site_path(slug)}?message=added#data")


@router.get("/sites/{slug}/facts")
def facts(here: Here, slug: str) -> Response:
    """Show the site file for editing."""
    return _facts_page(here, slug)


def _facts_page(
    here: Context,
    slug: str,
    *,
    text: str | None = None,
    problem: str | None = None,
    delete_problem: str | None = None,
) -> Response:
    with here.database.reading() as db:
        loaded = loading.load(db, here, slug)
        versions = [
            {
                "until": moment(int(item.replaced_at.timestamp()), loaded.row.timezone),
                "by": item.replaced_by,
                "text": item.text,
            }
            for item in queries.file_versions(db, site_id=loaded.row.id)
        ]
    return page(
        "facts.html",
        status=422 if problem or delete_problem else 200,
        site=loaded.head,
        text=loaded.row.text if text is None else text,
        problem=problem,
        delete_problem=delete_problem,
        versions=versions,
        undo_days=f"{here.settings.undo_days:g}",
    )


@router.post("/sites/{slug}/facts")
def replace_facts(here: Here, slug: str, text: Annotated[str, Form()] = "") -> Response:
    """Keep new facts; a refusal shows what was typed."""
    plain = text.replace("\r\n", "\n")
    try:
        with here.database.session() as db:
            caller = here.person(db, may="arrange")
            site = here.site_of(db, caller, slug)
            same = plain == site.text
            actions.replace_site_file(db, site=site, text=plain, who=caller.who, now=here.now())
    except SiteFileError as error:
        said = str(error)
        return _facts_page(here, slug, text=plain, problem=sentence(said))
    return see_other(f"{site_path(slug)}?message={'same' if same else 'kept'}")


@router.post("/sites/{slug}/delete")
def delete(here: Here, slug: str, confirm: Annotated[str, Form()] = "") -> Response:
    """Put an installation out of sight."""
    try:
        with here.database.session() as db:
            site = here.site(db, slug, may="arrange")
            actions.delete_site(db, site=site, confirm=confirm, now=here.now())
    except ConflictError as error:
        return _facts_page(here, slug, delete_problem=error.detail)
    return see_other("/")


@router.post("/sites/{slug}/restore")
def restore(here: Here, slug: str) -> Response:
    """Bring a deleted installation back."""
    with here.database.session() as db:
        caller = here.person(db, may="arrange")
        actions.restore_site(db, firm_id=caller.firm_id, slug=slug, now=here.now())
    return see_other(f"{site_path(slug)}?message=restored")


@router.post("/sites/{slug}/logs")
async def hand_in(request: Request, here: Here, slug: str) -> Response:
    """Take logs from the page's form where no script runs; the script uses the API."""
    site_id = await run_in_threadpool(_site_id, here, slug)
    kept = 0
    async with request.form(max_files=_MOST_FILES) as form:
        for _, part in form.multi_items():
            if isinstance(part, UploadFile) and part.filename:
                await run_in_threadpool(_keep, here, site_id, part)
                kept += 1
    return see_other(f"{site_path(slug)}?message={'sent' if kept else 'none'}#data")


def _site_id(here: Context, slug: str) -> int:
    with here.database.session() as db:
        return here.site(db, slug, may="log").id


def _keep(here: Context, site_id: int, part: UploadFile) -> None:
    ingest_actions.receive(
        here.database,
        raw=here.raw,
        site_id=site_id,
        file=part.file,
        name=part.filename or "log",
        via="browser",
        now=here.now(),
    )


@router.get("/sites/{slug}/gateway")
def gateway(here: Here, slug: str) -> Response:
    """Show the gateway keys in use."""
    return _gateway_page(here, slug, None)


def _gateway_page(here: Context, slug: str, secret: str | None) -> Response:
    with here.database.reading() as db:
        loaded = loading.load(db, here, slug, may="arrange")
        keys = [
            {
                "id": key.id,
                "label": key.label,
                "made": moment(int(key.created_at.timestamp()), loaded.row.timezone),
            }
            for key in queries.keys_of(db, site_id=loaded.row.id)
        ]
    return page(
        "gateway.html",
        site=loaded.head,
        keys=keys,
        secret=secret,
        base_url=here.settings.public_url,
    )


@router.post("/sites/{slug}/gateway")
def make_key(here: Here, slug: str, label: Annotated[str, Form()] = "gateway") -> Response:
    """Make a key and show it this once."""
    with here.database.session() as db:
        site = here.site(db, slug, may="arrange")
        _, secret = actions.make_key(db, site=site, label=label, now=here.now())
    return _gateway_page(here, slug, secret)


@router.post("/sites/{slug}/gateway/{key_id}/revoke")
def revoke_key(here: Here, slug: str, key_id: RowId) -> Response:
    """Make a key useless."""
    with here.database.session() as db:
        site = here.site(db, slug, may="arrange")
        actions.revoke_key(db, site=site, key_id=key_id, now=here.now())
    return see_other(f"{site_path(slug)}/gateway")
