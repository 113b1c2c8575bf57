"""Passwords: argon2id with the library's current recommendation."""

import threading
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError

from service.errors import InvalidError

SHORTEST = 10
LONGEST = 500

_HASHER = PasswordHasher()
# One check takes 64 MiB; a crowd of them at once must not take the machine's memory.
_AT_ONCE = threading.Semaphore(2)


def hash_password(password: str) -> str:
    """Hash a new password; one that is too short, too long or common is refused."""
    if not SHORTEST <= len(password) <= LONGEST:
        raise InvalidError(
            f"The password has {len(password)} characters; {SHORTEST} to {LONGEST} are allowed.",
            field="password",
        )
    if password.casefold() in _common():
        raise InvalidError(
            "Many people use this password, so it is among the first that are tried; choose "
            "another, such as a few plain words.",
            field="password",
        )
    return _HASHER.hash(password)


@cache
def _common() -> frozenset[str]:
    """Give the passwords that leaked lists show most often, as its makers ship them."""
    from zxcvbn.frequency_lists import FREQUENCY_LISTS

    return frozenset(word.casefold() for word in FREQUENCY_LISTS["passwords"])


@cache
def nobody() -> str:
    """Give the hash that is checked when a name is unknown: the answer takes as long as for one
    that is known, but for the first of a process, which makes the hash.
    """
    return _HASHER.hash("nobody has this password")


def fits(password: str, password_hash: str | None) -> bool:
    """Tell whether a password is the one of a hash; None stands for nobody."""
    try:
        with _AT_ONCE:
            _HASHER.verify(password_hash or nobody(), password[: LONGEST + 1])
    except (Argon2Error, InvalidHashError):
        return False
    return password_hash is not None
