"""`suntally retention`: what becomes of old rows and files, and doing it now."""

import argparse
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from service.clock import Clock
    from service.db.engine import Database
    from service.retention.actions import Limits, Plan
    from service.settings import Settings


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "--dry-run", action="store_true", help="say what would be done and how much it frees"
    )
    parser.add_argument("--yes", action="store_true", help="do it without asking")


def run(args: argparse.Namespace) -> int:
    """Do it: 0 done or nothing to do, 1 some failed or nobody agreed, 2 it cannot be done."""
    from service.clock import SystemClock
    from service.retention.actions import limits_of, plan
    from service.retention.words import plan_words, set_words
    from service.serve import StartError, open_database, settings_from

    clock = SystemClock()
    try:
        settings = settings_from(args)
        database = open_database(settings, clock)
    except StartError as error:
        sys.stderr.write(f"suntally retention: {error}\n")
        return 2
    try:
        for line in set_words(settings):
            _say(line)
        limits = limits_of(settings, now=clock.now())
        if not limits.any:
            return 0
        with database.reading() as db:
            due = plan(db, limits)
        for line in plan_words(due):
            _say(line)
        if args.dry_run or not _something(due):
            return 0
        if not args.yes and not _agreed():
            sys.stderr.write("suntally retention: nothing was changed\n")
            return 1
        return _do(settings, database, clock, limits)
    finally:
        database.close()


def _something(due: "Plan") -> bool:
    return bool(due.means.count or due.gone.count or due.files.count)


def _agreed() -> bool:
    """Ask; who is not there to answer says no."""
    sys.stdout.write("This cannot be undone, but by a backup. Write yes to do it: ")
    sys.stdout.flush()
    return sys.stdin.readline().strip().lower() == "yes"


def _do(settings: "Settings", database: "Database", clock: "Clock", limits: "Limits") -> int:
    from service.ingest.files import RawStore
    from service.retention.actions import Pass

    raw = RawStore(settings.data_dir)
    # A list holds so many days at most; what it failed at is not tried twice in a run.
    failed = 0
    while True:
        one = Pass.begun(database, raw=raw, clock=clock, limits=limits)
        while one.piece(500):
            _say(f"{one.done} done, {one.left} left")
        failed += one.failed
        _say(f"{one.done} days and files done, {one.failed} failed")
        if not one.done or one.failed:
            return 1 if failed else 0


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()
