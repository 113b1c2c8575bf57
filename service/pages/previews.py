"""Pages about the files of a site: what waits for an answer, and what became of the others."""

import json
from collections.abc import Mapping

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool

from analysis.errors import AnalysisError, SiteFileError
from analysis.logs.preview import Preview
from analysis.site import LogMap
from analysis.sitefile import parse_site
from dashboards.format import sentence
from dashboards.links import site_path
from dashboards.preview_page import PreviewView, preview_view
from dashboards.render import render
from service.context import Context, Here, RowId
from service.errors import ConflictError
from service.ingest import actions, queries
from service.ingest.answers import map_of_answers, together
from service.ingest.previews import Waiting, look, save_map, sources_of, waiting_of
from service.pages import loading, uploads
from service.pages.answers import page, see_other
from service.sites import queries as site_queries

router = APIRouter(include_in_schema=False)

_MOST_FIELDS = 2000
# Of these something is stored, or will be without an answer: the list of files says what.
_SETTLED = ("kept", "stored")


@router.get("/sites/{slug}/logs")
def files(here: Here, slug: str) -> Response:
    """List every file of a site: checksum, span, rows, what was set aside, whether it counts."""
    with here.database.reading() as db:
        loaded = loading.load(db, here, slug)
        lines = uploads.uploads_of(db, loaded.row, limit=None)
    return page("files.html", site=loaded.head, uploads=lines)


@router.post("/sites/{slug}/logs/{upload_id}/undo")
def undo(here: Here, slug: str, upload_id: RowId) -> Response:
    """Take a file's rows out again."""
    with here.database.session() as db:
        site = here.site(db, slug, may="log")
        actions.undo_upload(db, site_id=site.id, upload_id=upload_id, now=here.now())
    return see_other(f"{site_path(slug)}?message=undone#data")


@router.post("/sites/{slug}/logs/{upload_id}/redo")
def redo(here: Here, slug: str, upload_id: RowId) -> Response:
    """Have an undone file count again."""
    with here.database.session() as db:
        site = here.site(db, slug, may="log")
        actions.redo_upload(db, site_id=site.id, upload_id=upload_id)
    return see_other(f"{site_path(slug)}?message=sent#data")


@router.post("/sites/{slug}/logs/{upload_id}/discard")
def discard(here: Here, slug: str, upload_id: RowId) -> Response:
    """Forget a file of which nothing is stored."""
    with here.database.session() as db:
        site = here.site(db, slug, may="log")
        sha256 = actions.discard_upload(db, site_id=site.id, upload_id=upload_id)
    if sha256 is not None:
        actions.drop_bytes(here.database, raw=here.raw, hashes=[sha256])
    return see_other(f"{site_path(slug)}?message=discarded#data")


@router.get("/sites/{slug}/logs/{upload_id}")
def show(here: Here, slug: str, upload_id: RowId, map_of: str = "") -> Response:
    """Show what a file holds before it counts; once it does, the list of files."""
    return _page(here, slug, upload_id, {"map_of": map_of})


@router.post("/sites/{slug}/logs/{upload_id}")
async def answer(request: Request, here: Here, slug: str, upload_id: RowId) -> Response:
    """Show the file as the answers make it, or save them as the site's map."""
    async with request.form(max_fields=_MOST_FIELDS) as form:
        answers = {name: value for name, value in form.items() if isinstance(value, str)}
    how = {"accept": _accept, "plot": _plot}.get(answers.get("do", ""), _page)
    return await run_in_threadpool(how, here, slug, upload_id, answers)


def _page(
    here: Context,
    slug: str,
    upload_id: int,
    answers: Mapping[str, str],
    problem: str | None = None,
) -> Response:
    with here.database.reading() as db:
        loaded = loading.load(db, here, slug)
        waiting = _waiting(here, slug, upload_id)
        if problem is None and waiting.state in _SETTLED:
            return see_other(f"{site_path(slug)}/logs")
        others = len(queries.uploads_in_state(db, site_id=loaded.row.id, state="asking"))
        maps = [
            {"slug": one.slug, "name": one.name}
            for one in site_queries.list_sites(db, firm_id=loaded.row.firm_id)
            if one.id != loaded.row.id and parse_site(one.text).log.columns
        ]
    view, said = _view(here, slug, waiting, answers)
    return page(
        "preview.html",
        status=422 if problem else 200,
        site=loaded.head,
        file={"id": upload_id, "name": waiting.name},
        others=others - 1,
        undone=waiting.state == "undone",
        maps=maps,
        map_of=answers.get("map_of", ""),
        answers=answers,
        problem=problem or said or waiting.contradicts,
        view=view,
    )


def _plot(here: Context, slug: str, upload_id: int, answers: Mapping[str, str]) -> Response:
    """Give what changes with an answer, for the page's script."""
    view, said = _view(here, slug, _waiting(here, slug, upload_id), answers)
    if view is None:
        return _json({"problem": said})
    return _json(
        {
            "problem": said or view.problem,
            "says": view.says,
            "open": view.open_says,
            "shown": view.shown,
            "anything": view.anything,
            "figure": json.loads(view.figure),
            "left": json.loads(view.left_over) if view.left_over else None,
            "columns": {
                str(column.number): {
                    "sure": column.sure,
                    "mood": column.mood,
                    "values": column.values,
                }
                for column in view.columns
            },
            "set_aside": render("_parts/set_aside.html", set_aside=view.set_aside),
            "questions": render("_parts/questions.html", questions=view.questions),
        }
    )


def _json(content: object) -> Response:
    return Response(
        json.dumps(content), media_type="application/json", headers={"Cache-Control": "no-store"}
    )


def _accept(here: Context, slug: str, upload_id: int, answers: Mapping[str, str]) -> Response:
    waiting = _waiting(here, slug, upload_id)
    try:
        maps = _maps(here, slug, waiting, answers)
        now, _ = _look(here, waiting, *maps)
        with here.database.session() as db:
            caller = here.person(db, may="log")
            site = here.site_of(db, caller, slug)
            save_map(
                db,
                site=site,
                log_map=maps[1],
                found=now,
                seen=waiting.despite,
                who=caller.who,
                now=here.now(),
            )
            actions.ask_again(db, site_id=site.id)
            if waiting.state == "undone":
                actions.redo_upload(db, site_id=site.id, upload_id=upload_id)
    except (AnalysisError, ConflictError) as error:
        said = error.detail if isinstance(error, ConflictError) else _plain(error)
        return _page(here, slug, upload_id, answers, sentence(said))
    return see_other(f"{site_path(slug)}?message=accepted#data")


def _plain(error: AnalysisError) -> str:
    return error.what if isinstance(error, SiteFileError) else str(error)


def _waiting(here: Context, slug: str, upload_id: int) -> Waiting:
    with here.database.reading() as db:
        return waiting_of(db, site=here.site(db, slug, may="log"), upload_id=upload_id)


def _maps(
    here: Context, slug: str, waiting: Waiting, answers: Mapping[str, str]
) -> tuple[LogMap, LogMap, LogMap]:
    """Give the map before the answers, with them, and with all but that about the clock."""
    told = parse_site(waiting.site_text).log
    if answers.get("map_of"):
        with here.database.reading() as db:
            other = here.site(db, answers["map_of"], may="log")
            told = together(told, parse_site(other.text).log)
    logged = {name: value for name, value in answers.items() if name != "clock"}
    return told, map_of_answers(answers, told=told), map_of_answers(logged, told=told)


def _look(
    here: Context, waiting: Waiting, told: LogMap, log_map: LogMap, clock_as_logged: LogMap
) -> tuple[Preview, Preview]:
    sources = sources_of(waiting, raw=here.raw, limit_bytes=here.settings.max_unpacked_bytes)
    return look(
        sources,
        site=parse_site(waiting.site_text),
        told=told,
        log_map=log_map,
        clock_as_logged=clock_as_logged,
        now_s=int(here.now().timestamp()),
    )


def _view(
    here: Context, slug: str, waiting: Waiting, answers: Mapping[str, str]
) -> tuple[PreviewView | None, str | None]:
    """Build the page, and say what about the answers is not possible."""
    said = None
    try:
        maps = _maps(here, slug, waiting, answers)
    except SiteFileError as error:
        said, told = sentence(error.what), parse_site(waiting.site_text).log
        maps = (told, told, told)
    try:
        now, first = _look(here, waiting, *maps)
    except AnalysisError as error:
        return None, sentence(str(error))
    zone = parse_site(waiting.site_text).place.timezone
    return preview_view(now, first=first, answers=answers, timezone=zone), said
