"""What a browser may do with the pages: the content security policy and its companions.

Nothing is styled or scripted in the pages themselves, but for one block of colours that is known
by its hash. The chart program makes an empty style element and fills it by rule, so that the hash
of nothing is allowed as well. A mail that is shown in a frame carries its styles on its elements,
as mails must; the page that shows it names exactly these.
"""

import base64
import hashlib
from collections.abc import Iterable
from html.parser import HTMLParser

from dashboards.theme import css_variables

_YEAR_S = 365 * 24 * 3600


def policy(mail: str | None = None) -> str:
    """Give the content security policy of a page.

    Parameters
    ----------
    mail : HTML of a mail that the page shows in a frame; its `style` attributes are allowed
    """
    blocks = ("", css_variables())
    rules = {
        "default-src": "'none'",
        "script-src": "'self'",
        "style-src": f"'self' {_hashes(blocks)}",
        "img-src": "'self' data: blob:",
        "font-src": "'self'",
        "connect-src": "'self'",
        "frame-src": "'self'",
        "form-action": "'self'",
        "frame-ancestors": "'none'",
        "base-uri": "'none'",
    }
    if mail is not None:
        rules["style-src-attr"] = f"'unsafe-hashes' {_hashes(_styles_of(mail))}"
    return "; ".join(f"{name} {value}" for name, value in rules.items())


def headers(*, https: bool) -> tuple[tuple[bytes, bytes], ...]:
    """Give what every answer bears unless it says otherwise.

    Parameters
    ----------
    https : whether people reach the service by it; then browsers are told to keep to it
    """
    given = {
        "content-security-policy": policy(),
        "x-content-type-options": "nosniff",
        "referrer-policy": "same-origin",
        "x-frame-options": "DENY",
        "cross-origin-opener-policy": "same-origin",
        "cross-origin-resource-policy": "same-origin",
        # Visits are ordered by the distance from the phone; nothing else is asked of a device.
        "permissions-policy": "geolocation=(self), camera=(), microphone=(), payment=(), usb=()",
    }
    if https:
        # Of this host alone: what else runs under the same domain is not ours to bind.
        given["strict-transport-security"] = f"max-age={_YEAR_S}"
    return tuple((name.encode(), value.encode()) for name, value in given.items())


def _hashes(texts: Iterable[str]) -> str:
    digests = sorted({hashlib.sha256(text.encode()).digest() for text in texts})
    return " ".join(f"'sha256-{base64.b64encode(digest).decode()}'" for digest in digests)


def _styles_of(html: str) -> list[str]:
    found = _Styles()
    found.feed(html)
    found.close()
    return found.styles


class _Styles(HTMLParser):
    """Gathers the `style` attributes of a page, as a browser reads them."""

    def __init__(self) -> None:
        super().__init__()
        self.styles: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Take the styles of one element."""
        self.styles += [value for name, value in attrs if name == "style" and value]
