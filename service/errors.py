"""The errors of the service, each with its HTTP status.

ServiceError                  status, title; shown as problem details (RFC 9457) or as a page
├─ SignedOutError 401
├─ NotAllowedError 403        signed in, but the role does not reach so far
├─ NotFoundError 404          also for what belongs to somebody else
├─ TooSlowError 408
├─ ConflictError 409
├─ TooLargeError 413
├─ InvalidError 422           with the place: key, row, field, line
└─ TooManyError 429
"""

import errno

# What the system says where nothing more can be written.
NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


class ServiceError(Exception):
    """Something that the caller can understand and act on."""

    status = 500
    title = "Something went wrong"

    def __init__(self, detail: str, **extra: object) -> None:
        super().__init__(detail)
        self.detail = detail
        self.extra = {name: value for name, value in extra.items() if value is not None}


class SignedOutError(ServiceError):
    """Nobody has signed in, or the key is wrong."""

    status = 401
    title = "Sign in first"


class NotAllowedError(ServiceError):
    """The caller is known, but their role lacks the right."""

    status = 403
    title = "Not allowed"


class NotFoundError(ServiceError):
    """There is no such thing, or it is not the caller's."""

    status = 404
    title = "Not found"


class TooSlowError(ServiceError):
    """The body does not come in the time that others can wait."""

    status = 408
    title = "Too slow"


class ConflictError(ServiceError):
    """It does not fit what is there."""

    status = 409
    title = "Does not fit what is there"


class TooLargeError(ServiceError):
    """More bytes than are taken."""

    status = 413
    title = "Too large"


class InvalidError(ServiceError):
    """The content cannot be used."""

    status = 422
    title = "Cannot be used"


class TooManyError(ServiceError):
    """Too many attempts."""

    status = 429
    title = "Too many attempts"
