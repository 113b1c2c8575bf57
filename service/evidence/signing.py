"""The installation's key (Ed25519, RFC 8032), with which bundles are signed."""

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from sqlalchemy.orm import Session

from service.accounts.signing import bundle_secret


def installation_key(db: Session) -> Ed25519PrivateKey:
    """Give the key of this installation; it is made at the first start."""
    return Ed25519PrivateKey.from_private_bytes(bytes.fromhex(bundle_secret(db)))


def public_hex(key: Ed25519PrivateKey) -> str:
    """Give the public half as 64 hexadecimal digits."""
    return key.public_key().public_bytes_raw().hex()


def signed_by(public: str, *, signature: str, content: bytes) -> bool:
    """Tell whether a signature was made over these bytes with the key's private half."""
    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public))
        key.verify(bytes.fromhex(signature), content)
    except (ValueError, InvalidSignature):
        return False
    return True
