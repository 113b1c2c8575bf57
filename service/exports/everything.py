"""Everything that the service holds, in forms that other programs read.

For each firm a folder with its people and the readers of its mail, for each site a folder with the
site file, the tables of `suntally export`, and the bundle of everything: logs and weather as they
came, visits, photos, records, report. What only serves to sign in is left out.
"""

import csv
import shutil
from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path
from typing import get_args

from sqlalchemy.orm import Session

from service.accounts import queries as account_queries
from service.db.models import Firm, Site
from service.errors import ConflictError, NotFoundError
from service.evidence.make import bundle_name, make_bundle
from service.exports import queries
from service.exports.actions import file_name, write_export
from service.exports.names import Form, What
from service.exports.tables import Span
from service.ingest.files import RawStore
from service.sites import queries as site_queries


def write_everything(
    db: Session, *, raw: RawStore, folder: Path, form: Form, now: datetime
) -> list[str]:
    """Write all firms into an empty folder; gives what could not be had, in plain words.

    Raises
    ------
    ConflictError : the folder holds something
    """
    if folder.exists() and any(folder.iterdir()):
        raise ConflictError(f"{folder} holds something already; name an empty folder")
    lacking: list[str] = []
    for firm in queries.firms(db):
        place = folder / f"firm-{firm.id}"
        place.mkdir(parents=True)
        _write_firm(db, firm, place)
        for site in site_queries.list_sites(db, firm_id=firm.id):
            lacking += _write_site(db, site, raw, place / site.slug, form=form, now=now)
    return lacking


def _write_firm(db: Session, firm: Firm, place: Path) -> None:
    (place / "firm.txt").write_text(f"{firm.name}\n", encoding="utf-8")
    _csv(
        place / "people.csv",
        ("login", "name", "role", "since", "left"),
        (
            (one.login, one.name, one.role, one.created_at, one.closed_at)
            for one in account_queries.accounts_of(db, firm_id=firm.id)
        ),
    )
    _csv(
        place / "readers.csv",
        ("address", "name", "timezone", "digest", "urgent", "since"),
        (
            (one.address, one.name, one.timezone, one.digest, one.urgent, one.created_at)
            for one in queries.readers(db, firm_id=firm.id)
        ),
    )


def _write_site(
    db: Session, site: Site, raw: RawStore, place: Path, *, form: Form, now: datetime
) -> list[str]:
    place.mkdir()
    (place / "site.toml").write_text(site.text, encoding="utf-8", newline="")
    lacking = []
    for what in get_args(What):
        try:
            path = place / file_name(site, what=what, form=form)
            write_export(db, site, what=what, form=form, span=Span(), path=path)
        except NotFoundError:
            lacking.append(f"{site.name}: no {what}, since there is no report yet")
    try:
        bundle, _ = make_bundle(db, site=site, raw=raw, everything=True, now=now)
        shutil.move(bundle, place / bundle_name(site, everything=True))
    except ConflictError as error:
        lacking.append(f"{site.name}: {error.detail}")
    return lacking


def _csv(path: Path, heads: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out)
        writer.writerow(heads)
        writer.writerows([_cell(one) for one in row] for row in rows)


def _cell(value: object) -> object:
    """Write a cell so that no sheet takes a text for a formula."""
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"'{value}" if isinstance(value, str) and value[:1] in "=+-@\t\r" and value else value
