"""Random secrets, and the hashes under which they are known."""

import hashlib
import secrets


def new_secret(prefix: str) -> str:
    """Give 256 random bits as text; the prefix says what they are for."""
    return f"{prefix}_{secrets.token_urlsafe(32)}"


def hashed(secret: str) -> str:
    """Give the hash a random secret is stored under; 256 random bits need no slow hash."""
    return hashlib.sha256(secret.encode()).hexdigest()
