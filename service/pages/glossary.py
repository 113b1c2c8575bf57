"""The page of words: what the pages' words mean, for everybody who reads them."""

from fastapi import APIRouter, Response

from dashboards.glossary import PARTS
from service.pages.answers import page

router = APIRouter(include_in_schema=False)


@router.get("/glossary")
def glossary() -> Response:
    """Show the words; nothing on it is anybody's own, so nobody has to sign in."""
    return page("glossary.html", parts=PARTS)
