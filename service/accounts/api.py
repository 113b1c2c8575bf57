"""People, keys of the firm and customers' links over HTTP, as the pages have them."""

from fastapi import APIRouter
from sqlalchemy.orm import Session

from service.accounts import customers, people, queries
from service.accounts.schemas import (
    FirmKeyMade,
    FirmKeyShown,
    FirmKeyWanted,
    LinkShown,
    LinkWanted,
    PersonMade,
    PersonShown,
    PersonWanted,
    RoleWanted,
)
from service.context import Context, Here, RowId
from service.db.models import Account, CustomerLink, FirmKey

router = APIRouter(prefix="/api", tags=["people"])


@router.get("/people", summary="List who may sign in")
def list_people(here: Here) -> list[PersonShown]:
    """Give everybody who may sign in, with their roles."""
    with here.database.reading() as db:
        caller = here.person(db, may="govern")
        return [_person(one) for one in queries.accounts_of(db, firm_id=caller.firm_id)]


@router.post("/people", status_code=201, summary="Ask somebody in")
def invite(here: Here, wanted: PersonWanted) -> PersonMade:
    """Make an account; the link that sets its password works once and is shown this once."""
    with here.database.session() as db:
        caller = here.person(db, may="govern")
        account, token = people.invite(
            db,
            firm_id=caller.firm_id,
            login=wanted.login,
            name=wanted.name,
            role=wanted.role,
            now=here.now(),
        )
        link = f"{here.settings.public_url}/first-password?token={token}"
        return PersonMade(**_person(account).model_dump(), link=link)


@router.post("/people/{account_id}/role", summary="Give somebody another role")
def set_role(here: Here, account_id: RowId, wanted: RoleWanted) -> PersonShown:
    """Change a role; a firm keeps an owner."""
    with here.database.session() as db:
        account = _account(db, here, account_id)
        people.set_role(db, account=account, role=wanted.role)
        return _person(account)


@router.delete("/people/{account_id}", status_code=204, summary="Shut somebody out")
def close(here: Here, account_id: RowId) -> None:
    """End an account for good; what they did stays on record."""
    with here.database.session() as db:
        people.close(db, account=_account(db, here, account_id), now=here.now())


@router.get("/keys", summary="List the firm's keys")
def list_keys(here: Here) -> list[FirmKeyShown]:
    """Give the keys for programs that are in use; their texts are not kept."""
    with here.database.reading() as db:
        caller = here.person(db, may="govern")
        return [_key(one) for one in queries.firm_keys(db, firm_id=caller.firm_id)]


@router.post("/keys", status_code=201, summary="Make a key of the firm")
def make_key(here: Here, wanted: FirmKeyWanted) -> FirmKeyMade:
    """Make a key for a program; its text is shown this once."""
    with here.database.session() as db:
        caller = here.person(db, may="govern")
        key, secret = people.make_key(
            db, firm_id=caller.firm_id, label=wanted.label, role=wanted.role, now=here.now()
        )
        return FirmKeyMade(**_key(key).model_dump(), key=secret)


@router.delete("/keys/{key_id}", status_code=204, summary="Make a key of the firm useless")
def revoke_key(here: Here, key_id: RowId) -> None:
    """End a key; programs that show it are turned away."""
    with here.database.session() as db:
        caller = here.person(db, may="govern")
        people.revoke_key(db, firm_id=caller.firm_id, key_id=key_id, now=here.now())


@router.get("/sites/{slug}/links", summary="List customers' links to a site")
def list_links(here: Here, slug: str) -> list[LinkShown]:
    """Give the links that were not withdrawn, the newest first."""
    with here.database.reading() as db:
        site = here.site(db, slug, may="arrange")
        return [_link(db, here, one) for one in queries.customer_links(db, site_id=site.id)]


@router.post("/sites/{slug}/links", status_code=201, summary="Make a customer's link")
def make_link(here: Here, slug: str, wanted: LinkWanted) -> LinkShown:
    """Make a link that shows the savings sheet of this one site until it ends."""
    with here.database.session() as db:
        caller = here.person(db, may="arrange")
        link, _ = customers.make_link(
            db,
            site=here.site_of(db, caller, slug),
            label=wanted.label,
            days=wanted.days,
            made_by=caller.who,
            now=here.now(),
        )
        return _link(db, here, link)


@router.delete(
    "/sites/{slug}/links/{link_id}", status_code=204, summary="Withdraw a customer's link"
)
def withdraw_link(here: Here, slug: str, link_id: RowId) -> None:
    """Make a customer's link useless from now on."""
    with here.database.session() as db:
        site = here.site(db, slug, may="arrange")
        customers.withdraw(db, site=site, link_id=link_id, now=here.now())


def _account(db: Session, here: Context, account_id: int) -> Account:
    caller = here.person(db, may="govern")
    return people.account_of(db, firm_id=caller.firm_id, account_id=account_id)


def _person(one: Account) -> PersonShown:
    return PersonShown(
        id=one.id,
        login=one.login,
        name=one.name,
        role=one.role,
        invited=one.password_hash is None,
        second_factor=one.totp_confirmed or False,
    )


def _key(one: FirmKey) -> FirmKeyShown:
    return FirmKeyShown.model_validate(one, from_attributes=True)


def _link(db: Session, here: Context, one: CustomerLink) -> LinkShown:
    return LinkShown(
        id=one.id,
        label=one.label,
        url=f"{here.settings.public_url}/shared/{customers.token_of(db, one)}",
        created_at=one.created_at,
        expires_at=one.expires_at,
        opened_at=one.opened_at,
    )
