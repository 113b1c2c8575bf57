"""Customers' links: making and withdrawing them."""

from typing import Annotated

from fastapi import APIRouter, Form, Query, Response

from dashboards.format import day
from dashboards.links import site_path
from dashboards.sheet.languages import LANGUAGES
from service.accounts import customers, queries
from service.context import Context, Here, RowId
from service.errors import InvalidError
from service.letters import actions as letter_actions
from service.letters import queries as letter_queries
from service.pages import loading
from service.pages.answers import page, see_other

router = APIRouter(include_in_schema=False)

_MESSAGES = {
    "withdrawn": "Withdrawn; the link opens nothing any more.",
    "contact": "The address is noted.",
}
_USUAL_DAYS = 400


@router.get("/sites/{slug}/customer")
def show(here: Here, slug: str, message: Annotated[str | None, Query()] = None) -> Response:
    """Show the links that customers have, and let make one."""
    return _page(here, slug, message=_MESSAGES.get(message or ""))


def _page(
    here: Context,
    slug: str,
    *,
    message: str | None = None,
    made: str | None = None,
    error: str | None = None,
) -> Response:
    with here.database.reading() as db:
        loaded = loading.load(db, here, slug, may="arrange")
        links = [
            {
                "id": one.id,
                "label": one.label,
                "until": day(one.expires_at.date()),
                "over": one.expires_at <= here.now(),
                "opened": day(one.opened_at.date()) if one.opened_at else None,
                "address": _address(here, customers.token_of(db, one)),
            }
            for one in queries.customer_links(db, site_id=loaded.row.id)
        ]
        contact = letter_queries.contact_of(db, site_id=loaded.row.id)
        agreed = letter_queries.agreed(db, site_id=loaded.row.id)
    return page(
        "customer.html",
        status=422 if error else 200,
        site=loaded.head,
        links=links,
        made=made,
        message=message,
        error=error,
        days=_USUAL_DAYS,
        contact=contact,
        agreed=agreed,
        languages=[(code, says.name) for code, says in LANGUAGES.items()],
    )


def _address(here: Context, token: str) -> str:
    return f"{here.settings.public_url}/shared/{token}"


@router.post("/sites/{slug}/customer")
def make(
    here: Here,
    slug: str,
    label: Annotated[str, Form()] = "",
    days: Annotated[int, Form()] = _USUAL_DAYS,
) -> Response:
    """Make a link for a customer."""
    try:
        with here.database.session() as db:
            caller = here.person(db, may="arrange")
            site = here.site_of(db, caller, slug)
            _, token = customers.make_link(
                db, site=site, label=label, days=days, made_by=caller.who, now=here.now()
            )
    except InvalidError as error:
        return _page(here, slug, error=error.detail)
    return _page(here, slug, made=_address(here, token))


@router.post("/sites/{slug}/customer/{link_id}/withdraw")
def withdraw(here: Here, slug: str, link_id: RowId) -> Response:
    """Make a customer's link useless."""
    with here.database.session() as db:
        site = here.site(db, slug, may="arrange")
        customers.withdraw(db, site=site, link_id=link_id, now=here.now())
    return see_other(f"{site_path(slug)}/customer?message=withdrawn")


@router.post("/sites/{slug}/customer/contact")
def set_contact(
    here: Here,
    slug: str,
    address: Annotated[str, Form()] = "",
    name: Annotated[str, Form()] = "",
    language: Annotated[str, Form()] = "en",
) -> Response:
    """Note where the customer gets letters."""
    try:
        with here.database.session() as db:
            site = here.site(db, slug, may="arrange")
            letter_actions.set_contact(
                db, site=site, name=name, address=address, language=language, now=here.now()
            )
    except InvalidError as error:
        return _page(here, slug, error=error.detail)
    return see_other(f"{site_path(slug)}/customer?message=contact")
