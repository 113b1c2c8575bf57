"""Use cases of the warranty record: every edit goes into the site's file, the old file is kept."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from sqlalchemy.orm import Session

from analysis.errors import SiteFileError
from analysis.site import Change, Commissioned, Warranty, WarrantyTerm
from analysis.site import Site as SiteFacts
from analysis.sitefile import parse_site
from analysis.sitefile_schema import CHANGE, PART, TABLES, TERM
from analysis.sitefile_splice import with_changes, with_papers
from analysis.sitefile_write import table_lines
from service.db.models import Site
from service.errors import ConflictError
from service.sites.actions import replace_site_file
from service.sites.form import literal_lines
from service.warranty.fields import rule_keys, rule_of_change

_DATES = ("commissioned.fluid_tested", "commissioned.filled")


def keep_papers(
    db: Session, *, site: Site, version: int, fields: Mapping[str, str], who: str, now: datetime
) -> None:
    """Keep who put the plant into service, and from when and how long the warranty holds.

    Parameters
    ----------
    version : of the site file that the person saw
    fields : what was typed, named like `commissioned.filled` and `warranty.years`

    Raises
    ------
    ConflictError : somebody changed the file meanwhile
    analysis.errors.SiteFileError : key and what is allowed; nothing changes then
    """
    facts = _seen(site, version)
    terms = facts.warranty.terms if facts.warranty is not None else ()
    text = with_papers(site.text, None, None)
    for name in ("commissioned", "warranty"):
        lines = literal_lines(TABLES[name].rules, rule_keys(fields, name))
        if lines:
            text += "\n".join(["", f"[{name}]", *lines, ""])
    found = parse_site(text)
    warranty = found.warranty and replace(found.warranty, terms=terms)
    if terms and warranty is None:
        raise SiteFileError("the warranty has terms, so its first day and its years are needed")
    _replace(db, site, with_papers(site.text, found.commissioned, warranty), who=who, now=now)


def add_term(
    db: Session, *, site: Site, version: int, fields: Mapping[str, str], who: str, now: datetime
) -> None:
    """Add a term of the papers; raises as `keep_papers` does."""
    facts = _seen(site, version)
    papers = _papers(facts)
    lines = [
        *table_lines("warranty", papers),
        "",
        "[[warranty.term]]",
        *literal_lines(TERM.rules, fields),
    ]
    bare = with_papers(site.text, facts.commissioned, None)
    found = parse_site("\n".join([bare.rstrip(), "", *lines, ""]))
    _replace(db, site, with_papers(site.text, facts.commissioned, found.warranty), who=who, now=now)


def remove_term(
    db: Session, *, site: Site, version: int, number: int, who: str, now: datetime
) -> None:
    """Take a term out; the old file keeps it. Raises as `keep_papers` does."""
    facts = _seen(site, version)
    terms = list(_papers(facts).terms)
    del terms[_place(terms, number)]
    _with_terms(db, site, facts, tuple(terms), who=who, now=now)


def note_term(
    db: Session,
    *,
    site: Site,
    version: int,
    number: int,
    kept: bool,
    noted: date,
    who: str,
    now: datetime,
) -> None:
    """Note what a person found about a term; raises as `keep_papers` does."""
    facts = _seen(site, version)
    terms = list(_papers(facts).terms)
    place = _place(terms, number)
    terms[place] = replace(terms[place], kept=kept, noted=noted, by=who)
    _with_terms(db, site, facts, tuple(terms), who=who, now=now)


def add_part(
    db: Session, *, site: Site, version: int, fields: Mapping[str, str], who: str, now: datetime
) -> None:
    """Record a part that was put in; raises as `keep_papers` does."""
    _seen(site, version)
    lines = literal_lines(PART.rules, fields)
    text = "\n".join([site.text.rstrip(), "", "[[part]]", *lines, ""])
    _replace(db, site, text, who=who, now=now)


def add_change(
    db: Session, *, site: Site, version: int, fields: Mapping[str, str], who: str, now: datetime
) -> None:
    """Record that a fact of the plant changed from a day on; raises as `keep_papers` does."""
    _seen(site, version)
    key = fields.get("key", "")
    lines = [
        *literal_lines(CHANGE.rules, fields),
        *literal_lines({"value": rule_of_change(key)}, fields),
    ]
    text = _with_commissioned(site.text) if key in _DATES else site.text
    found = parse_site("\n".join([text.rstrip(), "", "[[change]]", *lines, ""]))
    change = found.changes[-1]
    text = _with_date(text, change) if key in _DATES else with_changes(text, [change])
    _replace(db, site, text, who=who, now=now)


def _with_commissioned(text: str) -> str:
    """See that there is a table whose dates can change."""
    facts = parse_site(text)
    if facts.commissioned is not None:
        return text
    return with_papers(text, Commissioned(filled=None, tubes_fitted=None), facts.warranty)


def _with_date(text: str, change: Change) -> str:
    """Put the latest date into `[commissioned]`, where kinds look for it; earlier ones stay."""
    facts = parse_site(text)
    held, new = facts.commissioned, change.value
    assert held is not None
    assert isinstance(new, date)
    name = change.key.removeprefix("commissioned.")
    old: date | None = getattr(held, name)
    changes = [change]
    if old is not None and not any(one.value == old for one in facts.changes):
        changes.insert(0, Change(date=old, key=change.key, value=old, why=None))
    latest: dict[str, Any] = {name: new if old is None else max(old, new)}
    return with_papers(with_changes(text, changes), replace(held, **latest), facts.warranty)


def _seen(site: Site, version: int) -> SiteFacts:
    if version != site.version:
        raise ConflictError(
            "Somebody changed this site meanwhile; look at what stands there now, then enter it "
            "again."
        )
    return parse_site(site.text)


def _papers(facts: SiteFacts) -> Warranty:
    if facts.warranty is None:
        raise SiteFileError("enter the first day of the warranty and its years before its terms")
    return facts.warranty


def _place(terms: list[WarrantyTerm], number: int) -> int:
    if not 1 <= number <= len(terms):
        raise ConflictError("There is no such term any more; look at the list again.")
    return number - 1


def _with_terms(
    db: Session,
    site: Site,
    facts: SiteFacts,
    terms: tuple[WarrantyTerm, ...],
    *,
    who: str,
    now: datetime,
) -> None:
    papers = replace(_papers(facts), terms=terms)
    _replace(db, site, with_papers(site.text, facts.commissioned, papers), who=who, now=now)


def _replace(db: Session, site: Site, text: str, *, who: str, now: datetime) -> None:
    replace_site_file(db, site=site, text=text, who=who, now=now)
