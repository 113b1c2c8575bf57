"""`suntally password`: set the password on the machine itself, where it was lost or never set."""

import argparse
import getpass
import sys
from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("--login", default="owner", help="whose password; default: owner")
    parser.add_argument(
        "--from-file", metavar="FILE", help="take the first line of this file; default: ask"
    )


def run(args: argparse.Namespace) -> int:
    """Set the password and sign every browser out; gives the exit status."""
    from service.accounts.actions import reset_password
    from service.clock import SystemClock
    from service.errors import ServiceError
    from service.serve import StartError, open_database, settings_from

    clock = SystemClock()
    try:
        password = _password(args.from_file)
        database = open_database(settings_from(args), clock)
        with database.session() as db:
            reset_password(db, login=args.login, password=password, now=clock.now())
        database.close()
    except (StartError, OSError, UnicodeDecodeError) as error:
        sys.stderr.write(f"suntally password: {error}\n")
        return 2
    except ServiceError as error:
        sys.stderr.write(f"suntally password: {error.detail}\n")
        return 2
    sys.stdout.write("The password is set; whoever was signed in has to sign in again.\n")
    return 0


def _password(file: str | None) -> str:
    if file is None:
        return getpass.getpass("New password: ")
    lines = Path(file).read_text(encoding="utf-8").splitlines()
    return lines[0].strip() if lines else ""
