"""`suntally export`: a site's data as a file, or everything as a folder, without the pages."""

import argparse
import sys
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from service.errors import ServiceError

if TYPE_CHECKING:
    from service.db.engine import Database
    from service.ingest.files import RawStore

_MADE = 0
_LACKING = 1
_NOT_MADE = 2


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    from service.exports.names import Form, What

    parser.add_argument("site", metavar="SITE", nargs="?", help="the site's name in its address")
    parser.add_argument(
        "--all", metavar="DIR", type=Path, help="everything of all sites, into an empty folder"
    )
    parser.add_argument("--what", choices=get_args(What), default="days", help="default: days")
    parser.add_argument("--format", choices=get_args(Form), default="csv", help="default: csv")
    parser.add_argument("--from", dest="first", metavar="DATE", help="first local day")
    parser.add_argument("--to", dest="last", metavar="DATE", help="last local day")
    parser.add_argument("--out", metavar="FILE", help="default: SITE-WHAT.FORMAT here")


def run(args: argparse.Namespace) -> int:
    """Write the file; give the exit status."""
    from service.serve import StartError

    try:
        return _run(args)
    except ServiceError as error:
        problem = error.detail
    except (StartError, ValueError) as error:
        problem = str(error)
    except OSError as error:
        problem = f"{error.filename or 'a file'}: {(error.strerror or 'it failed').lower()}"
    sys.stderr.write(f"suntally export: {problem}\n")
    return _NOT_MADE


def _run(args: argparse.Namespace) -> int:
    from service.accounts.queries import first_firm
    from service.clock import SystemClock
    from service.errors import NotFoundError
    from service.exports.actions import file_name, write_export
    from service.exports.tables import Span
    from service.ingest.files import RawStore
    from service.serve import open_database, settings_from
    from service.sites.queries import site_by_slug

    if (args.site is None) == (args.all is None):
        raise ValueError("name a site, or a folder for everything with --all DIR")
    settings = settings_from(args)
    span = Span(first=_day(args.first), last=_day(args.last))
    if settings.database_url is None and not (settings.data_dir / "suntally.db").exists():
        raise NotFoundError(
            f"there is no service in {settings.data_dir} yet; start it with “suntally serve”, or "
            "name its data folder with --data-dir"
        )
    clock = SystemClock()
    database = open_database(settings, clock)
    try:
        if args.all is not None:
            return _everything(database, RawStore(settings.data_dir), args, now=clock.now())
        with database.reading() as db:
            firm = first_firm(db)
            site = site_by_slug(db, firm_id=firm.id, slug=args.site) if firm else None
            if site is None:
                raise NotFoundError(f"there is no site “{args.site}”")
            path = Path(args.out or file_name(site, what=args.what, form=args.format))
            beside = path.with_name(f".{path.name}.part")
            try:
                write_export(db, site, what=args.what, form=args.format, span=span, path=beside)
                beside.replace(path)
            finally:
                beside.unlink(missing_ok=True)
    finally:
        database.close()
    sys.stdout.write(f"{path}\n")
    return _MADE


def _everything(
    database: "Database", raw: "RawStore", args: argparse.Namespace, *, now: datetime
) -> int:
    from service.exports.everything import write_everything

    with database.reading() as db:
        lacking = write_everything(db, raw=raw, folder=args.all, form=args.format, now=now)
    sys.stdout.write(f"{args.all}\n")
    for one in lacking:
        sys.stderr.write(f"suntally export: {one}\n")
    return _LACKING if lacking else _MADE


def _day(text: str | None) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise ValueError(f"“{text}” is no day; write it like 2025-06-01") from None
