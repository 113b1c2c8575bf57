"""Use cases of accounts: the firm, the first password, signing in and out."""

from datetime import datetime, timedelta
from pathlib import Path

from sqlalchemy.orm import Session

from service.accounts import queries
from service.accounts.passwords import fits, hash_password
from service.accounts.secrets import hashed, new_secret
from service.db.models import Account, Firm, SetupLink, WebSession
from service.errors import ConflictError, InvalidError, NotFoundError, SignedOutError

FIRST_LOGIN = "owner"


def ensure_firm(db: Session, *, now: datetime) -> Firm:
    """Give the firm, made at the first start."""
    firm = queries.first_firm(db)
    if firm is None:
        firm = Firm(name="My installations", created_at=now)
        db.add(firm)
        db.flush()
    return firm


def make_setup_link(db: Session, *, now: datetime) -> str | None:
    """Make the token that sets the first password; None once there is an account.

    An older link stops working.
    """
    if queries.count_accounts(db):
        return None
    firm = ensure_firm(db, now=now)
    queries.drop_setup_links(db)
    token = new_secret("first")
    db.add(SetupLink(firm_id=firm.id, token_hash=hashed(token), created_at=now))
    return token


def setup_link_works(db: Session, token: str) -> bool:
    """Tell whether a first-password token can still be used."""
    return queries.setup_link(db, token_hash=hashed(token)) is not None


def set_first_password(db: Session, *, token: str, password: str, now: datetime) -> Account:
    """Use the one-time link: make the first account."""
    link = queries.setup_link(db, token_hash=hashed(token))
    if link is None:
        raise NotFoundError(
            "This link does not work (any more). A new one is printed when the server is "
            "started again, as long as no password is set."
        )
    return _first_account(db, firm_id=link.firm_id, password=password, now=now)


def password_from_file(db: Session, *, path: Path, now: datetime) -> None:
    """Set the first password from a file, where none is set yet."""
    if queries.count_accounts(db):
        return
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise InvalidError(
            f"The password file {path} cannot be read ({error}); it holds one line, the password."
        ) from error
    password = lines[0].strip() if lines else ""
    _first_account(db, firm_id=ensure_firm(db, now=now).id, password=password, now=now)


def _first_account(db: Session, *, firm_id: int, password: str, now: datetime) -> Account:
    if queries.count_accounts(db):
        raise ConflictError("A password is set already; sign in with it.")
    account = Account(
        firm_id=firm_id,
        login=FIRST_LOGIN,
        password_hash=hash_password(password),
        role="owner",
        created_at=now,
    )
    db.add(account)
    queries.drop_setup_links(db)
    db.flush()
    return account


def reset_password(db: Session, *, password: str, now: datetime) -> None:
    """Set the owner's password, the first one too, and sign every browser out."""
    account = queries.account_by_login(db, FIRST_LOGIN)
    if account is None:
        _first_account(db, firm_id=ensure_firm(db, now=now).id, password=password, now=now)
        return
    account.password_hash = hash_password(password)
    queries.drop_sessions_of(db, account_id=account.id)


def check_password(db: Session, *, login: str, password: str) -> Account:
    """Give the account that name and password belong to.

    Raises
    ------
    SignedOutError : one of them is wrong; which one is not said
    """
    account = queries.account_by_login(db, login.strip() or FIRST_LOGIN)
    if not fits(password, account.password_hash if account else None) or account is None:
        raise SignedOutError("The password is wrong.")
    return account


def start_session(db: Session, *, account: Account, now: datetime, days: int) -> str:
    """Sign a browser in; gives the cookie's value."""
    token = new_secret("web")
    db.add(
        WebSession(
            token_hash=hashed(token),
            account_id=account.id,
            created_at=now,
            expires_at=now + timedelta(days=days),
        )
    )
    queries.drop_expired(db, now=now)
    return token


def end_session(db: Session, *, token: str) -> None:
    """Sign a browser out."""
    queries.drop_session(db, token_hash=hashed(token))
