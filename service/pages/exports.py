"""Choosing what of a site's data to take along."""

from fastapi import APIRouter, Response

from service.context import Here
from service.exports.names import WHAT_WORDS
from service.exports.writers import FORMATS
from service.pages import loading
from service.pages.answers import page

router = APIRouter(include_in_schema=False)


@router.get("/sites/{slug}/export")
def show(here: Here, slug: str) -> Response:
    """Show what can be taken along."""
    with here.database.reading() as db:
        loaded = loading.load(db, here, slug)
    return page(
        "export.html",
        site=loaded.head,
        what=list(WHAT_WORDS.items()),
        formats=[(name, one.says) for name, one in FORMATS.items()],
    )
