"""`suntally check`: looks an installation over and says what to mend."""

import argparse
import sys

_MARKS = {"ok": "ok  ", "note": "note", "mend": "MEND"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "--quick",
        action="store_true",
        help="see that raw files are there, without reading them",
    )


def run(args: argparse.Namespace) -> int:
    """Print a line for each thing: 0 all is well, 1 something is to be mended, 2 bad settings."""
    from service.clock import SystemClock
    from service.operation.check import look
    from service.serve import StartError, settings_from

    try:
        settings = settings_from(args)
    except StartError as error:
        sys.stderr.write(f"suntally check: {error}\n")
        return 2
    to_mend = 0
    for one in look(settings, now=SystemClock().now(), quick=args.quick):
        to_mend += one.state == "mend"
        sys.stdout.write(f"{_MARKS[one.state]}  {one.what}: {one.said}\n")
    sys.stdout.write(f"{to_mend} to mend.\n" if to_mend else "All is well.\n")
    return 1 if to_mend else 0
