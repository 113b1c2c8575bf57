"""`suntally firm`: another firm on this server, and the link for its owner."""

import argparse
import sys


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument("name", help="name of the firm")
    parser.add_argument("--login", required=True, help="what its owner signs in with")


def run(args: argparse.Namespace) -> int:
    """Make the firm and print its owner's link; gives the exit status."""
    from service.accounts.people import new_firm
    from service.clock import SystemClock
    from service.errors import ServiceError
    from service.serve import StartError, open_database, settings_from

    clock = SystemClock()
    try:
        settings = settings_from(args)
        database = open_database(settings, clock)
        with database.session() as db:
            token = new_firm(db, name=args.name, login=args.login, now=clock.now())
        database.close()
    except StartError as error:
        sys.stderr.write(f"suntally firm: {error}\n")
        return 2
    except ServiceError as error:
        sys.stderr.write(f"suntally firm: {error.detail}\n")
        return 2
    sys.stdout.write(
        f"The firm is made. Hand its owner this link; it sets the password, once:\n"
        f"  {settings.public_url}/first-password?token={token}\n"
    )
    return 0
