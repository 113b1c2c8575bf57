"""`suntally digest`: what a week's digest says, without sending it."""

import argparse
import sys
from pathlib import Path

_MADE = 0
_NOT_MADE = 2


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "--week", metavar="WEEK", help="such as 2026-W26; default: the last whole week"
    )
    parser.add_argument("--html", metavar="FILE", help="write the mail as a page, too")


def run(args: argparse.Namespace) -> int:
    """Print the digest; give the exit status."""
    from service.errors import ServiceError
    from service.serve import StartError

    try:
        return _run(args)
    except ServiceError as error:
        problem = error.detail
    except (StartError, ValueError) as error:
        problem = str(error)
    except OSError as error:
        problem = f"{error.filename or 'a file'}: {(error.strerror or 'it failed').lower()}"
    sys.stderr.write(f"suntally digest: {problem}\n")
    return _NOT_MADE


def _run(args: argparse.Namespace) -> int:
    from dashboards.mails import as_page
    from dashboards.weeks import parse_week, week_before
    from service.accounts.queries import first_firm
    from service.clock import SystemClock
    from service.digests.actions import preview_week, usual_timezone
    from service.digests.times import zone_of
    from service.errors import NotFoundError
    from service.serve import open_database, settings_from

    settings = settings_from(args)
    clock = SystemClock()
    week = parse_week(args.week) if args.week else None
    if settings.database_url is None and not (settings.data_dir / "suntally.db").exists():
        raise NotFoundError(
            f"there is no service in {settings.data_dir} yet; start it with “suntally serve”, or "
            "name its data folder with --data-dir"
        )
    database = open_database(settings, clock)
    try:
        with database.reading() as db:
            firm = first_firm(db)
            if firm is None:
                raise NotFoundError("there are no sites yet; add one on the first page")
            timezone = usual_timezone(db, firm_id=firm.id)
            if week is None:
                week = week_before(clock.now().astimezone(zone_of(timezone)).date())
            mail = preview_week(
                db,
                firm_id=firm.id,
                week=week,
                settings=settings,
                today=clock.now().date(),
                timezone=timezone,
            )
    finally:
        database.close()
    if args.html:
        Path(args.html).write_text(as_page(mail), encoding="utf-8")
    sys.stdout.write(f"Subject: {mail.subject}\n\n{mail.text}")
    return _MADE
