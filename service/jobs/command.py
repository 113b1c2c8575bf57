"""`suntally fleet`: how far the analyses of all sites are; doing them now, having them wait."""

import argparse
import sys


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "what",
        nargs="?",
        choices=("status", "run", "pause", "resume"),
        default="status",
        help="say how far the analyses are (default); do what is due now; have old reports wait; "
        "let them go on",
    )
    parser.add_argument(
        "--again", action="store_true", help="with run: every day of every site, from the first"
    )
    parser.add_argument("--processes", type=int, help="with run: processes that analyse")
    parser.add_argument("--dask", metavar="ADDRESS", help="with run: scheduler of a Dask cluster")


def run(args: argparse.Namespace) -> int:
    """Do it: 0 done, 1 some sites failed and are tried again later, 2 it cannot be done."""
    from service.clock import SystemClock
    from service.jobs import queries
    from service.jobs.crew import NoCrewError
    from service.operation.logs import log_to_stderr
    from service.serve import StartError, open_database, settings_from

    clock = SystemClock()
    args.analysis_processes, args.dask_address = args.processes, args.dask
    try:
        settings = settings_from(args)
        log_to_stderr(as_json=settings.log_format == "json")
        database = open_database(settings, clock)
    except StartError as error:
        return _refuse(error)
    try:
        if args.what == "run":
            from service.jobs.fleet import run_fleet

            return 1 if run_fleet(settings, database, clock, again=args.again, say=_say) else 0
        with database.session() as db:
            if args.what == "pause":
                queries.pause(db, who="the command line", now=clock.now())
            elif args.what == "resume":
                queries.resume(db)
        from service.jobs.fleet import progress_of, told

        _say(told(progress_of(settings, database, now=clock.now())))
    except NoCrewError as error:
        return _refuse(error)
    finally:
        database.close()
    return 0


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def _refuse(error: Exception) -> int:
    sys.stderr.write(f"suntally fleet: {error}\n")
    return 2
