"""The warranty record: the page, and the forms that write into the site's file."""

from collections.abc import Callable, Mapping
from datetime import date
from functools import partial
from typing import Annotated, Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Query, Request, Response
from sqlalchemy.orm import Session
from starlette.concurrency import run_in_threadpool

from analysis.errors import SiteFileError
from analysis.sitefile_schema import TERM
from analysis.warranty.terms import TERM_KINDS
from dashboards.format import moment
from dashboards.links import site_path
from dashboards.private import shareable
from dashboards.warranty_history import edits
from dashboards.warranty_page import warranty_view
from dashboards.warranty_words import KIND_WORDS, TERM_KEY_WORDS, key_words, refusal_words
from service.context import Context, Here, RowId
from service.errors import ConflictError, InvalidError
from service.evidence.signing import installation_key, public_hex
from service.pages import loading
from service.pages.answers import page, see_other, texts
from service.sites import queries as site_queries
from service.warranty import papers
from service.warranty.fields import CHANGED_KEYS, from_percent, term_keys
from service.warranty.record import kept_record

router = APIRouter(include_in_schema=False)

_MESSAGES = {"kept": "Kept. What stood here before is in the history below."}
_VERSIONS_SHOWN = 200


@router.get("/sites/{slug}/warranty")
def record(here: Here, slug: str, message: Annotated[str | None, Query()] = None) -> Response:
    """Show the warranty record."""
    return _page(here, slug, message=_MESSAGES.get(message or ""))


def _page(
    here: Context,
    slug: str,
    *,
    message: str | None = None,
    problem: str | None = None,
    values: Mapping[str, str] | None = None,
) -> Response:
    with here.database.reading() as db:
        loaded = loading.load(db, here, slug)
        may_edit = here.person(db, may="see").may("arrange")
        site, facts = loaded.row, loaded.facts
        today = here.now().astimezone(ZoneInfo(site.timezone)).date()
        kept = kept_record(db, site=site, facts=facts, as_of=today)
        versions = [
            (one.text, moment(int(one.replaced_at.timestamp()), site.timezone), one.replaced_by)
            for one in site_queries.file_versions(db, site_id=site.id)[:_VERSIONS_SHOWN]
        ]
        public_key = public_hex(installation_key(db))
    view = warranty_view(
        facts,
        slug=slug,
        report=shareable(loaded.report) if loaded.report else None,
        judged=kept.judged,
        years=kept.years,
        visits=kept.visits,
        edits=edits([(text, when, who or "not noted") for text, when, who in versions], site.text),
        texts=texts(),
        as_of=today,
    )
    return page(
        "warranty.html",
        status=422 if problem else 200,
        site=loaded.head,
        view=view,
        may_edit=may_edit,
        version=site.version,
        values=values or {},
        given=_given(loaded),
        kinds=[(kind, KIND_WORDS[kind], _fields(kind)) for kind in TERM_KINDS],
        changed=[(key, key_words(key)) for key in CHANGED_KEYS],
        public_key=public_key,
        today=today.isoformat(),
        message=message,
        problem=problem,
    )


def _fields(kind: str) -> list[tuple[str, str, tuple[str, ...]]]:
    """Give the fields that a kind's form asks for: key, words, choices."""
    return [(key, TERM_KEY_WORDS[key], TERM.rules[key].choices) for key in term_keys(kind)]


def _given(loaded: loading.Loaded) -> dict[str, str]:
    """Give what the papers' form shows at first."""
    made, terms = loaded.facts.commissioned, loaded.facts.warranty
    shown: dict[str, Any] = {}
    if made is not None:
        shown |= {
            f"commissioned.{key}": getattr(made, key)
            for key in ("filled", "tubes_fitted", "fluid_tested", "by", "registration")
        }
        shown["commissioned.serials"] = "\n".join(made.serials)
    if terms is not None:
        shown |= {
            "warranty.from": terms.start,
            "warranty.years": f"{terms.years:.6g}",
            "warranty.conditions": "\n".join(terms.conditions),
        }
    return {name: str(value) for name, value in shown.items() if value is not None}


# One of `papers`, but for its site, the version that was seen, who and when.
_Deed = Callable[..., None]


async def _typed(request: Request) -> dict[str, str]:
    async with request.form() as form:
        return {name: value for name, value in form.items() if isinstance(value, str)}


def _edit(here: Context, slug: str, values: dict[str, str], deed: _Deed) -> Response:
    """Do what a form asks; where it cannot be done, what was typed stays on the page."""
    try:
        with here.database.session() as db:
            caller = here.person(db, may="arrange")
            site = here.site_of(db, caller, slug)
            version = values.get("version", "")
            if not version.isdecimal():
                raise InvalidError("The form was not whole; reload the page.", field="version")
            deed(db, site=site, version=int(version), who=caller.who, now=here.now())
    except SiteFileError as error:
        return _page(
            here, slug, problem=f"{refusal_words(error.what)} Nothing was changed.", values=values
        )
    except (ConflictError, InvalidError) as error:
        return _page(here, slug, problem=error.detail, values=values)
    return see_other(f"{site_path(slug)}/warranty?message=kept")


@router.post("/sites/{slug}/warranty/papers")
async def keep_papers(request: Request, here: Here, slug: str) -> Response:
    """Keep how the plant went into service, and how long the warranty holds."""
    values = await _typed(request)
    deed = partial(papers.keep_papers, fields=values)
    return await run_in_threadpool(_edit, here, slug, values, deed)


@router.post("/sites/{slug}/warranty/terms")
async def add_term(request: Request, here: Here, slug: str) -> Response:
    """Add a term of the papers."""
    values = await _typed(request)
    deed = partial(papers.add_term, fields=from_percent(values))
    return await run_in_threadpool(_edit, here, slug, values, deed)


@router.post("/sites/{slug}/warranty/terms/{number}/remove")
async def remove_term(request: Request, here: Here, slug: str, number: RowId) -> Response:
    """Take a term out."""
    deed = partial(papers.remove_term, number=number)
    return await run_in_threadpool(_edit, here, slug, await _typed(request), deed)


@router.post("/sites/{slug}/warranty/terms/{number}/note")
async def note_term(request: Request, here: Here, slug: str, number: RowId) -> Response:
    """Note what a person found about a term."""
    values = await _typed(request)

    def deed(db: Session, **seen: Any) -> None:
        try:
            noted = date.fromisoformat(values.get("noted", ""))
        except ValueError:
            raise InvalidError("Say on which day it was found.", field="noted") from None
        kept = values.get("kept") == "yes"
        papers.note_term(db, number=number, kept=kept, noted=noted, **seen)

    return await run_in_threadpool(_edit, here, slug, values, deed)


@router.post("/sites/{slug}/warranty/parts")
async def add_part(request: Request, here: Here, slug: str) -> Response:
    """Record a part that was put in."""
    values = await _typed(request)
    deed = partial(papers.add_part, fields=values)
    return await run_in_threadpool(_edit, here, slug, values, deed)


@router.post("/sites/{slug}/warranty/changes")
async def add_change(request: Request, here: Here, slug: str) -> Response:
    """Record that a fact of the plant changed from a day on."""
    values = await _typed(request)
    deed = partial(papers.add_change, fields=from_percent(values))
    return await run_in_threadpool(_edit, here, slug, values, deed)
