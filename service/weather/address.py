"""The address of a weather source: a template that the user sets, and what may be asked for.

No address is built in, and nothing of the network is touched here.
"""

import re
from collections.abc import Iterable
from datetime import date, timedelta
from urllib.parse import quote, urlsplit

from analysis.site import Place
from service.errors import InvalidError
from service.outward import is_own

NAMES = ("latitude", "longitude", "from", "to")
_LONGEST = 2000
# A year and a day at a time.
MOST_DAYS = 366


def checked_template(text: str, *, allow_private: bool) -> str:
    """Give the template as it is kept.

    Raises
    ------
    InvalidError : what cannot be used, and what to write
    """
    template = text.strip()
    names = set(re.findall(r"\{([^{}]*)\}", template))
    if len(template) > _LONGEST:
        raise InvalidError(f"The address is longer than {_LONGEST} characters.", field="url")
    if names - set(NAMES):
        raise InvalidError(
            f"The address names {{{sorted(names - set(NAMES))[0][:40]}}}; what can be filled in is "
            "{latitude}, {longitude}, {from} and {to} (days such as 2025-06-01).",
            field="url",
        )
    if not template.isascii() or re.search(r"[\s\x00-\x1f\x7f]", template):
        raise InvalidError("The address holds a blank or a sign that no address has.", field="url")
    try:
        parts = urlsplit(re.sub(r"\{[^{}]*\}", "0", template))
        host, _ = parts.hostname, parts.port
    except ValueError:
        host, parts = None, urlsplit("")
    if parts.scheme not in ("http", "https") or not host:
        raise InvalidError(
            "An address begins with https:// or http:// and names a host.", field="url"
        )
    if "{" in template.split("/", 3)[2]:
        raise InvalidError("The host must be written out; fill-ins come after it.", field="url")
    if parts.username is not None or parts.password is not None:
        raise InvalidError(
            "Name and password before the host are not sent; put a key into the query.", field="url"
        )
    if not allow_private and is_own(host):
        raise InvalidError(
            "This address leads into the server's own network, which is not asked; its operator "
            "can allow that.",
            field="url",
        )
    return template


def filled(template: str, *, place: Place, first: date, last: date) -> str:
    """Give the address for a site and days, both included."""
    values = {
        "latitude": f"{place.latitude_deg:g}",
        "longitude": f"{place.longitude_deg:g}",
        "from": first.isoformat(),
        "to": last.isoformat(),
    }
    for name in NAMES:
        template = template.replace(f"{{{name}}}", quote(values[name]))
    return template


def days_to_ask(
    logged: Iterable[date],
    *,
    covered: frozenset[date],
    settled_before: date | None,
    today: date,
) -> tuple[date, date] | None:
    """Give first and last of the days to ask for: logged, over, and not known yet; None if none."""
    wanting = [
        day
        for day in sorted(logged)
        if day < today and day not in covered and (settled_before is None or day >= settled_before)
    ]
    if not wanting:
        return None
    first = wanting[0]
    last = max(day for day in wanting if day - first < timedelta(days=MOST_DAYS))
    return first, last
