"""Single tables anew in the text of a site file; everything else stays as it was written."""

import re
from collections.abc import Collection, Sequence
from dataclasses import replace

from analysis.errors import SiteFileError
from analysis.site import Change, Commissioned, HandReading, LogMap, Part, Site, Warranty
from analysis.sitefile import parse_site
from analysis.sitefile_schema import PART, READING, TABLES
from analysis.sitefile_write import (
    change_lines,
    map_to_toml,
    pairs,
    site_to_toml,
    table_lines,
)

_NAMES = "|".join(("log", "change", "part", "reading", *TABLES))
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
    return _with_more(text, ["[[reading]]", *pairs(READING, reading)])


def with_changes(text: str, changes: Sequence[Change]) -> str:
    """Give a site file with more dated changes at its end (see `with_reading`)."""
    return _with_more(text, [line for one in changes for line in ("", *change_lines(one))])


def with_part(text: str, part: Part) -> str:
    """Give a site file with one more part at its end (see `with_reading`)."""
    return _with_more(text, ["[[part]]", *pairs(PART, part)])


def _with_more(text: str, lines: Sequence[str]) -> str:
    added = text.rstrip() + "\n\n" + "\n".join(lines).lstrip() + "\n" if lines else text
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
    lines = map_to_toml(log_map).splitlines() if log_map != LogMap() else []
    return _spliced(text, wanted, {"log": lines})


def with_papers(text: str, commissioned: Commissioned | None, warranty: Warranty | None) -> str:
    """Give a site file with these `[commissioned]` and `[warranty]` tables (see `with_log`)."""
    before = parse_site(text)
    wanted = replace(before, commissioned=commissioned, warranty=warranty)
    held = {"commissioned": commissioned, "warranty": warranty}
    new = {
        name: table_lines(name, table) if table is not None else []
        for name, table in held.items()
        if table != getattr(before, name)
    }
    return _spliced(text, wanted, new)


def _spliced(text: str, wanted: Site, tables: dict[str, list[str]]) -> str:
    spliced = _without(text, tables).rstrip() + "\n"
    for lines in tables.values():
        if lines:
            spliced += "\n" + "\n".join(lines) + "\n"
    try:
        if parse_site(spliced) == wanted:
            return spliced
    except SiteFileError:
        pass
    anew = site_to_toml(wanted)
    parse_site(anew)
    return anew


def _without(text: str, names: Collection[str]) -> str:
    """Leave tables out; comments that stand right before the table after them stay."""
    kept: list[str] = []
    above: list[str] = []
    inside = False
    for line in text.splitlines(keepends=True):
        heading = _HEADING.fullmatch(line.rstrip("\r\n"))
        if heading is not None:
            inside = heading["name"] in names
            kept += above
            above = []
        if not inside:
            kept.append(line)
        elif heading is None:
            above = [*above, line] if line.lstrip().startswith("#") else []
    return "".join(kept)
