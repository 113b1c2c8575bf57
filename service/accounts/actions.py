"""Use cases of signing in: the first start, and passwords. Signed-in browsers: `sessions`."""

from datetime import datetime
from pathlib import Path

from sqlalchemy.orm import Session

from service.accounts import queries, second_factor
from service.accounts.passwords import fits, hash_password
from service.accounts.secrets import hashed, new_secret
from service.accounts.signing import ensure_secret
from service.db.models import Account, Firm, SetupLink
from service.errors import ConflictError, InvalidError, NotFoundError, SignedOutError

FIRST_LOGIN = "owner"


def ensure_firm(db: Session, *, now: datetime) -> Firm:
    """Give the first firm, made at the first start with the key that links are signed with."""
    ensure_secret(db)
    firm = queries.first_firm(db)
    if firm is None:
        firm = Firm(name="My installations", created_at=now)
        db.add(firm)
        db.flush()
    return firm


def make_setup_link(db: Session, *, now: datetime) -> str | None:
    """Make the token that makes the owner's account; None once there is an account.

    An older link stops working.
    """
    if queries.count_accounts(db):
        return None
    firm = ensure_firm(db, now=now)
    queries.drop_setup_links(db, firm_id=firm.id, account_id=None)
    token = new_secret("first")
    db.add(SetupLink(firm_id=firm.id, token_hash=hashed(token), created_at=now))
    return token


def login_of_link(db: Session, token: str, *, now: datetime) -> str | None:
    """Give whose password a token sets; None where it does not work (any more)."""
    link = queries.setup_link(db, token_hash=hashed(token), now=now)
    if link is None:
        return None
    account = db.get(Account, link.account_id) if link.account_id else None
    return account.login if account else FIRST_LOGIN


def set_password_by_link(db: Session, *, token: str, password: str, now: datetime) -> Account:
    """Use a one-time link: set an account's password, or make the first account.

    Raises
    ------
    NotFoundError : the link was used, has ended or was made up
    InvalidError : the password is too short or too long
    """
    link = queries.setup_link(db, token_hash=hashed(token), now=now)
    if link is None:
        raise NotFoundError("This link does not work (any more); ask for a new one.")
    account = db.get(Account, link.account_id) if link.account_id else None
    if account is None:
        return _first_account(db, firm_id=link.firm_id, password=password, now=now)
    account.password_hash = hash_password(password)
    queries.drop_sessions_of(db, account_id=account.id)
    queries.drop_setup_links(db, firm_id=account.firm_id, account_id=account.id)
    return account


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
    queries.drop_setup_links(db, firm_id=firm_id, account_id=None)
    db.flush()
    return account


def reset_password(db: Session, *, login: str, password: str, now: datetime) -> None:
    """Set an account's password on the machine itself, the first one too.

    Every browser is signed out, and a second factor that may be lost is turned off.
    """
    account = queries.account_by_login(db, login)
    if account is None and login == FIRST_LOGIN:
        _first_account(db, firm_id=ensure_firm(db, now=now).id, password=password, now=now)
        return
    if account is None:
        raise NotFoundError(f"There is no account “{login}”.")
    account.password_hash = hash_password(password)
    second_factor.turn_off(account)
    queries.drop_sessions_of(db, account_id=account.id)


def change_password(db: Session, *, account: Account, new: str) -> None:
    """Change one's own password; every browser has to sign in again.

    Raises
    ------
    InvalidError : it is too short or long
    """
    account.password_hash = hash_password(new)
    queries.drop_sessions_of(db, account_id=account.id)


def check_own_password(account: Account, password: str) -> None:
    """See that somebody who is signed in knows their password, before what cannot be undone.

    Raises
    ------
    InvalidError : they do not
    """
    if not fits(password, account.password_hash):
        raise InvalidError("This is not the password that you sign in with now.")


def check_password(db: Session, *, login: str, password: str) -> Account:
    """Give the account that name and password belong to.

    Raises
    ------
    SignedOutError : one of them is wrong; which one is not said
    """
    account = queries.account_by_login(db, login.strip() or FIRST_LOGIN)
    if not fits(password, account.password_hash if account else None) or account is None:
        raise SignedOutError("Name or password is wrong.")
    return account
