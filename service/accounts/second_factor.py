"""The second factor: codes by time (RFC 6238, TOTP) from an app on the phone."""

import secrets
from datetime import datetime

import pyotp

from service.accounts.secrets import hashed
from service.db.models import Account
from service.errors import InvalidError

_STEP_S = 30
_RECOVERY_CODES = 8
# A phone's clock may be a step off.
_STEPS_OFF = (0, -1, 1)


def begin(account: Account) -> None:
    """Give the account a new key, to be confirmed by a code."""
    if account.totp_confirmed:
        raise InvalidError("The second factor is on already; turn it off first.", field="code")
    account.totp_secret = pyotp.random_base32()
    account.totp_step = 0


def address_for_app(account: Account) -> str:
    """Give the address that an app reads from a square code (`otpauth:`)."""
    assert account.totp_secret is not None
    return pyotp.TOTP(account.totp_secret).provisioning_uri(
        name=account.login, issuer_name="Suntally"
    )


def confirm(account: Account, *, code: str, now: datetime) -> list[str]:
    """Turn the second factor on, once a code proves that the app has the key.

    Gives the codes for a lost phone; each works once and they are shown this once.
    """
    if account.totp_secret is None or not _code_fits(account, code, now=now):
        raise InvalidError(
            "This code does not fit. Check that the phone's clock is right and type the newest "
            "code.",
            field="code",
        )
    codes = [secrets.token_hex(5) for _ in range(_RECOVERY_CODES)]
    account.totp_confirmed = True
    account.recovery_hashes = [hashed(one) for one in codes]
    return codes


def turn_off(account: Account) -> None:
    """Forget key and codes."""
    account.totp_secret, account.totp_confirmed, account.recovery_hashes = None, False, []


def accepts(account: Account, *, code: str, now: datetime) -> bool:
    """Tell whether a code, or one for a lost phone, is right; each works once."""
    if not account.totp_confirmed or account.totp_secret is None:
        return False
    if _code_fits(account, code, now=now):
        return True
    spent = hashed(code.strip().lower())
    if spent not in account.recovery_hashes:
        return False
    account.recovery_hashes = [one for one in account.recovery_hashes if one != spent]
    return True


def _code_fits(account: Account, code: str, *, now: datetime) -> bool:
    """Compare with the codes of about now; a step that was used is used up (RFC 6238, 5.2)."""
    given = code.replace(" ", "")
    totp = pyotp.TOTP(account.totp_secret or "")
    step_now = int(now.timestamp()) // _STEP_S
    for off in _STEPS_OFF:
        step = step_now + off
        if step > account.totp_step and secrets.compare_digest(
            totp.generate_otp(step).encode(), given.encode()
        ):
            account.totp_step = step
            return True
    return False
