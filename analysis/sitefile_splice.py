"""Another `[log]` table in the text of a site file; everything else stays as it was written."""

import re
from dataclasses import replace

from analysis.errors import SiteFileError
from analysis.site import HandReading, LogMap
from analysis.sitefile import parse_site
from analysis.sitefile_schema import READING, TABLES
from analysis.sitefile_write import map_to_toml, pairs, site_to_toml

_NAMES = "|".join(("log", "change", "reading", *TABLES))
_HEADING = re.compile(rf"\s*\[\[?\s*(?P<name>{_NAMES})\s*(?:\.[^\]]*)?\]\]?\s*(?:#.*)?")


def with_reading(text: str, reading: HandReading) -> str:
    """Give a site file with one more meter reading at its end.

    Parameters
    ----------
    text : str
        A site file that `parse_site` takes.
    reading : HandReading
        What was read off the meter.

    Returns
    -------
    str
        The text as it was, and a `[[reading]]`.

    Raises
    ------
    SiteFileError
        The text is no site file, or the reading is not possible.
    """
    lines = ["", "[[reading]]", *pairs(READING, reading)]
    added = text.rstrip() + "\n" + "\n".join(lines) + "\n"
    parse_site(added)
    return added


def with_log(text: str, log_map: LogMap) -> str:
    """Give a site file with this `[log]` table in place of the one it has.

    Parameters
    ----------
    text : str
        A site file that `parse_site` takes.
    log_map : LogMap
        How to read the site's logs from now on.

    Returns
    -------
    str
        The text with comments and order kept; where it is written in a way that cannot be cut
        safely, the same facts written anew.

    Raises
    ------
    SiteFileError
        The text is no site file.
    """
    wanted = replace(parse_site(text), log=log_map)
    kept = []
    inside = False
    for line in text.splitlines(keepends=True):
        heading = _HEADING.fullmatch(line.rstrip("\r\n"))
        if heading is not None:
            inside = heading["name"] == "log"
        if not inside:
            kept.append(line)
    spliced = "".join(kept).rstrip() + "\n"
    if log_map != LogMap():
        spliced += f"\n{map_to_toml(log_map)}"
    try:
        if parse_site(spliced) == wanted:
            return spliced
    except SiteFileError:
        pass
    return site_to_toml(wanted)
