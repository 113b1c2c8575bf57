"""Use cases of a firm's people: asking somebody in, roles, leaving; and keys for programs."""

from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from service.accounts import queries
from service.accounts.rights import KEY_ROLES, PERSON_ROLES
from service.accounts.secrets import hashed, new_secret
from service.db.models import Account, Firm, FirmKey, SetupLink
from service.errors import ConflictError, InvalidError, NotFoundError

LINK_DAYS = 7
_LOGIN_LONGEST = 200


def new_firm(db: Session, *, name: str, login: str, now: datetime) -> str:
    """Make another firm on this server; gives its owner's one-time token."""
    firm = Firm(name=name.strip()[:200] or "Firm", created_at=now)
    db.add(firm)
    db.flush()
    _, token = invite(db, firm_id=firm.id, login=login, name="", role="owner", now=now)
    return token


def invite(
    db: Session, *, firm_id: int, login: str, name: str, role: str, now: datetime
) -> tuple[Account, str]:
    """Make an account without a password; gives it and the one-time token that sets one.

    Raises
    ------
    InvalidError, ConflictError : name or role cannot be used
    """
    login = login.strip()
    if not login or len(login) > _LOGIN_LONGEST or not login.isprintable():
        raise InvalidError("Write a name to sign in with, such as a mail address.", field="login")
    if role not in PERSON_ROLES:
        raise InvalidError(f"A role is one of {', '.join(PERSON_ROLES)}.", field="role")
    if queries.login_taken(db, login):
        raise ConflictError(f"The name “{login}” is taken; choose another.", field="login")
    account = Account(
        firm_id=firm_id, login=login, name=name.strip()[:200], role=role, created_at=now
    )
    db.add(account)
    db.flush()
    return account, password_link(db, account=account, now=now)


def password_link(db: Session, *, account: Account, now: datetime) -> str:
    """Make the token that sets an account's password once; an older one stops working."""
    queries.drop_setup_links(db, firm_id=account.firm_id, account_id=account.id)
    token = new_secret("set")
    db.add(
        SetupLink(
            firm_id=account.firm_id,
            account_id=account.id,
            token_hash=hashed(token),
            created_at=now,
            expires_at=now + timedelta(days=LINK_DAYS),
        )
    )
    return token


def account_of(db: Session, *, firm_id: int, account_id: int) -> Account:
    """Give an account in use of a firm.

    Raises
    ------
    NotFoundError : there is none of this number for the firm
    """
    account = queries.account_of(db, firm_id=firm_id, account_id=account_id)
    if account is None:
        raise NotFoundError("There is no such account.")
    return account


def set_role(db: Session, *, account: Account, role: str) -> None:
    """Give somebody another role; a firm keeps an owner."""
    if role not in PERSON_ROLES:
        raise InvalidError(f"A role is one of {', '.join(PERSON_ROLES)}.", field="role")
    if role != "owner":
        _keep_an_owner(db, account)
    account.role = role


def close(db: Session, *, account: Account, now: datetime) -> None:
    """Shut somebody out for good; what they did stays on record."""
    _keep_an_owner(db, account)
    account.closed_at = now
    account.password_hash = None
    queries.drop_sessions_of(db, account_id=account.id)
    queries.drop_setup_links(db, firm_id=account.firm_id, account_id=account.id)


def _keep_an_owner(db: Session, account: Account) -> None:
    owners = [
        one.id
        for one in queries.accounts_of(db, firm_id=account.firm_id)
        if one.role == "owner" and one.password_hash is not None
    ]
    if account.role == "owner" and not [one for one in owners if one != account.id]:
        raise ConflictError("A firm needs an owner who can sign in; make somebody else one first.")


def make_key(
    db: Session, *, firm_id: int, label: str, role: str, now: datetime
) -> tuple[FirmKey, str]:
    """Make a key for programs; gives it and the secret, which is shown this once."""
    if role not in KEY_ROLES:
        raise InvalidError(f"A key's role is one of {', '.join(KEY_ROLES)}.", field="role")
    secret = new_secret("firm")
    key = FirmKey(
        firm_id=firm_id,
        label=label.strip()[:100] or "program",
        role=role,
        key_hash=hashed(secret),
        created_at=now,
    )
    db.add(key)
    db.flush()
    return key, secret


def revoke_key(db: Session, *, firm_id: int, key_id: int, now: datetime) -> None:
    """Make a key useless."""
    key = queries.firm_key_of(db, firm_id=firm_id, key_id=key_id)
    if key is None:
        raise NotFoundError("There is no such key.")
    key.revoked_at = now
