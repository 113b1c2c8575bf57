"""Signatures of messages, as the open specification Standard Webhooks (version 1) has them.

The headers `webhook-id`, `webhook-timestamp` and `webhook-signature` go with each message; the
signature is `v1,` and the base64 of HMAC-SHA256 over `id.timestamp.body`, keyed with the bytes that
the secret holds in base64 after `whsec_`.
"""

import base64
import hashlib
import hmac
import secrets

_PREFIX = "whsec_"


def new_secret() -> str:
    """Give a secret of 256 random bits."""
    return _PREFIX + base64.b64encode(secrets.token_bytes(32)).decode()


def headers(secret: str, *, event_id: str, timestamp_s: int, body: bytes) -> dict[str, str]:
    """Give the headers that go with a message."""
    key = base64.b64decode(secret.removeprefix(_PREFIX))
    signed = f"{event_id}.{timestamp_s}.".encode() + body
    mac = base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()
    return {
        "webhook-id": event_id,
        "webhook-timestamp": str(timestamp_s),
        "webhook-signature": f"v1,{mac}",
        "Content-Type": "application/json",
    }
