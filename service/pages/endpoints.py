"""All pages' routes in one router."""

from fastapi import APIRouter

from service.pages import (
    account,
    bundles,
    customers,
    digest,
    editing,
    example,
    exports,
    findings,
    firm,
    glossary,
    letters,
    operation,
    people,
    previews,
    privacy,
    readings,
    recipients,
    sheet,
    visit,
    visit_record,
    visits,
    warranty,
    watching,
    weather,
    webhooks,
)
from service.pages.answers import error_page

__all__ = ["error_page", "router"]

router = APIRouter(include_in_schema=False)
# `/sites/new` stands before `/sites/{slug}`, `/visits/new` before `/visits/{visit_id}`.
_PARTS = (
    editing,
    example,
    watching,
    findings,
    people,
    recipients,
    account,
    firm,
    glossary,
    letters,
    operation,
    customers,
    sheet,
    digest,
    previews,
    readings,
    weather,
    visits,
    visit,
    visit_record,
    exports,
    webhooks,
    warranty,
    bundles,
    privacy,
)
for part in _PARTS:
    router.include_router(part.router)
