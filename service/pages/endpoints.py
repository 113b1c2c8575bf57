"""All pages' routes in one router."""

from fastapi import APIRouter

from service.pages import digest, editing, people, previews, readings, watching, weather
from service.pages.answers import error_page

__all__ = ["error_page", "router"]

router = APIRouter(include_in_schema=False)
# `/sites/new` stands before `/sites/{slug}`.
for part in (editing, watching, people, digest, previews, readings, weather):
    router.include_router(part.router)
