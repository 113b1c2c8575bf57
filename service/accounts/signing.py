"""Signed links: nobody can make one up, and each says what it is for."""

import secrets

from itsdangerous import BadSignature, URLSafeSerializer
from sqlalchemy.orm import Session

from service.db.engine import insert_into
from service.db.models import ServerSecret

_ONLY_ROW = 1


def ensure_secret(db: Session) -> None:
    """Make the key that links are signed with, at the first start."""
    made = insert_into(db, ServerSecret).values(id=_ONLY_ROW, key=secrets.token_urlsafe(32))
    db.execute(made.on_conflict_do_nothing())


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
    secret = db.get_one(ServerSecret, _ONLY_ROW)
    return URLSafeSerializer(secret.key, salt=purpose)
