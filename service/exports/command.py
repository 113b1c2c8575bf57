"""`suntally export`: a site's data as a file, without the pages."""

import argparse
import sys
from datetime import date
from pathlib import Path
from typing import get_args

from service.errors import ServiceError

_MADE = 0
_NOT_MADE = 2


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    from service.exports.actions import Form, What

    parser.add_argument("site", metavar="SITE", help="the site's name in its address")
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
    from service.serve import open_database, settings_from
    from service.sites.queries import site_by_slug

    settings = settings_from(args)
    span = Span(first=_day(args.first), last=_day(args.last))
    if settings.database_url is None and not (settings.data_dir / "suntally.db").exists():
        raise NotFoundError(
            f"there is no service in {settings.data_dir} yet; start it with “suntally serve”, or "
            "name its data folder with --data-dir"
        )
    database = open_database(settings, SystemClock())
    try:
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


def _day(text: str | None) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise ValueError(f"“{text}” is no day; write it like 2025-06-01") from None
