"""Signed links, which nobody can make up and each of which says what it is for; secrets."""

import secrets

from itsdangerous import BadSignature, URLSafeSerializer
from sqlalchemy.orm import Session

from service.db.engine import insert_into
from service.db.models import ServerSecret

_LINKS, _BUNDLES = 1, 2


def ensure_secret(db: Session) -> None:
    """Make the keys that links and bundles are signed with, at the first start."""
    rows = [
        {"id": _LINKS, "key": secrets.token_urlsafe(32)},
        {"id": _BUNDLES, "key": secrets.token_hex(32)},
    ]
    db.execute(insert_into(db, ServerSecret).on_conflict_do_nothing(), rows)


def bundle_secret(db: Session) -> str:
    """Give the 32 random bytes behind the key that bundles are signed with, in hexadecimal."""
    return db.get_one(ServerSecret, _BUNDLES).key


def signed(db: Session, content: list[int | str], *, purpose: str) -> str:
    """Give text for an address that carries this content and our signature (HMAC)."""
    return _serializer(db, purpose).dumps(content)


def content_of(db: Session, text: str, *, purpose: str) -> list[int | str] | None:
    """Give what a signed text carries; None where it is not one of ours for this purpose."""
    try:
        content = _serializer(db, purpose).loads(text)
    except BadSignature:
        return None
    return content if isinstance(content, list) else None


def _serializer(db: Session, purpose: str) -> URLSafeSerializer:
    secret = db.get_one(ServerSecret, _LINKS)
    return URLSafeSerializer(secret.key, salt=purpose)
