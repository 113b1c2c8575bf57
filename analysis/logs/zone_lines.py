"""The zone of the clock where a line above the rows names it: `Time zone: UTC+01:00`."""

import re
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

# Trade words; common practice, no source.
_LINE = re.compile(
    r"^\W*(?:time[ _]?zone|zeitzone|fuseau(?: horaire)?|zona horaria|fuso(?: orario)?|tijdzone|"
    r"utc[ _-]?offset|tz)\s*[:=;,\t]\s*\W*(?P<zone>[A-Za-z]*[A-Za-z_/ ]*[+\-\u2212]?[\d:.]*)",
    re.IGNORECASE | re.MULTILINE,
)
_OFFSET = re.compile(r"(?:UTC|GMT|Z)?\s*(?P<sign>[+\-\u2212])?\s*(?P<h>\d{1,2})?(?::?(?P<m>\d\d))?")


def zone_above(head: bytes) -> str | None:
    """Give the zone that a line above the rows names, None where none does.

    Parameters
    ----------
    head : bytes
        What stands above the first row, clean UTF-8.

    Returns
    -------
    str or None
        A name of the IANA database; of an offset one of whole hours. Other offsets and names
        that it does not know give None: the clock is then that of the map or the site.
    """
    match = _LINE.search(head.decode("utf-8", errors="replace"))
    said = match["zone"].strip() if match is not None else ""
    if not said:
        return None
    offset = _OFFSET.fullmatch(said.upper())
    if offset is not None:
        hours = int(offset["h"] or 0)
        if int(offset["m"] or 0) or hours > 14 or (hours and not offset["sign"]):
            return None
        east = "+" if offset["sign"] not in ("+", None) else "-"  # Etc/GMT-1 is east of Greenwich
        return f"Etc/GMT{east}{hours}" if hours else "UTC"
    if "/" not in said:
        return None
    try:
        return ZoneInfo(said).key
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None
