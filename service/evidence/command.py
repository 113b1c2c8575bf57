"""`suntally bundle` and `suntally verify`: make a bundle of a site, and check one."""

import argparse
import shutil
import sys
from pathlib import Path


def add_bundle_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `bundle` takes."""
    parser.add_argument("site", help="last part of the address of the site's page")
    parser.add_argument(
        "--out", metavar="FILE", help="where to write it (default: SITE-evidence.zip)"
    )
    parser.add_argument(
        "--everything",
        action="store_true",
        help="everything that is held about the customer, for themselves",
    )
    parser.add_argument("--firm", metavar="NAME", help="whose site, where two firms have one")


def run_bundle(args: argparse.Namespace) -> int:
    """Write a site's bundle; gives the exit status."""
    from service.clock import SystemClock
    from service.db.models import Firm, Site
    from service.errors import ServiceError
    from service.evidence import queries
    from service.evidence.make import bundle_name, make_bundle
    from service.evidence.signing import installation_key, public_hex
    from service.ingest.files import RawStore
    from service.serve import StartError, open_database, settings_from

    clock = SystemClock()
    try:
        settings = settings_from(args)
        database = open_database(settings, clock)
    except StartError as error:
        return _refuse("bundle", str(error))
    try:
        with database.reading() as db:
            sites: list[Site] = [
                one
                for one in queries.sites_of_slug(db, slug=args.site)
                if args.firm is None or db.get_one(Firm, one.firm_id).name == args.firm
            ]
            if len(sites) != 1:
                why = "there are two such sites; say whose with --firm" if sites else "no such site"
                return _refuse("bundle", f"{args.site}: {why}")
            path, root = make_bundle(
                db,
                site=sites[0],
                raw=RawStore(settings.data_dir),
                everything=args.everything,
                now=clock.now(),
            )
            key = public_hex(installation_key(db))
    except ServiceError as error:
        return _refuse("bundle", error.detail)
    finally:
        database.close()
    out = Path(args.out or bundle_name(sites[0], everything=args.everything))
    try:
        shutil.move(path, out)
    except OSError as error:
        path.unlink(missing_ok=True)
        return _refuse("bundle", f"{out}: {error.strerror}; choose another place with --out")
    sys.stdout.write(f"{out}\nroot  {root}\nkey   {key}\n")
    return 0


def add_verify_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `verify` takes."""
    parser.add_argument("bundle", type=Path, help="the .zip file")
    parser.add_argument("--key", help="the key that it should be signed with, 64 digits, or a file")


def run_verify(args: argparse.Namespace) -> int:
    """Say whether a bundle is as it was made: 0 it is, 1 it is not, 2 it cannot be looked at."""
    from service.evidence.verify import NotABundleError, verify

    try:
        key = _key(args.key) if args.key is not None else None
    except ValueError as error:
        return _refuse("verify", str(error))
    try:
        looked = verify(args.bundle, key=key)
    except NotABundleError as error:
        return _refuse("verify", f"{args.bundle}: {error}")
    if looked.problems:
        for problem in looked.problems:
            sys.stdout.write(f"{problem}\n")
        sys.stdout.write("This is not the bundle as it was made.\n")
        return 1
    sys.stdout.write(
        f"{looked.files} files, nothing altered, added, missing, renamed or in another order.\n"
        f"root  {looked.root}\nkey   {looked.public_key}\n"
        f"made  {looked.made_at} by its server's clock\n"
    )
    if key is None:
        sys.stdout.write(
            "Whose key that is, the bundle cannot prove: compare it with the one on the firm's "
            "page of the warranty record, or give that one with --key.\n"
        )
    return 0


def _key(given: str) -> str:
    """Take the key from the command line or out of a file."""
    path = Path(given)
    text = path.read_text("ascii", "replace") if len(given) != 64 and path.is_file() else given
    key = "".join(text.split()).lower()
    if len(key) != 64 or set(key) - set("0123456789abcdef"):
        raise ValueError("--key must be 64 digits from 0 to f, or a file that holds them")
    return key


def _refuse(command: str, why: str) -> int:
    sys.stderr.write(f"suntally {command}: {why}\n")
    return 2
