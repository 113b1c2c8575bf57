"""`suntally backup` and `suntally restore`."""

import argparse
import sys
from pathlib import Path

_DONE = 0
_LACKING = 1
_NOT_DONE = 2


def add_backup_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `backup` takes."""
    parser.add_argument(
        "file", metavar="FILE", type=Path, help="the file, or a folder for one named by the moment"
    )


def add_restore_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `restore` takes."""
    parser.add_argument("file", metavar="FILE", type=Path, help="a backup")


def run_backup(args: argparse.Namespace) -> int:
    """Write a backup: 0 all is in it, 1 raw files were lost before, 2 there is none."""
    from sqlalchemy.exc import SQLAlchemyError

    from service.backups.form import BackupError
    from service.backups.make import make_backup, note_backup
    from service.clock import SystemClock
    from service.db.engine import Database
    from service.ingest.files import RawStore
    from service.serve import StartError, settings_from

    now = SystemClock().now()
    try:
        settings = settings_from(args)
        if settings.database_url is None and not (settings.data_dir / "suntally.db").exists():
            raise BackupError(
                f"there is no service in {settings.data_dir}; name its data folder with --data-dir"
            )
        path = args.file
        if path.is_dir():
            path = path / f"suntally-{now:%Y%m%dT%H%M%SZ}.backup"
        database = Database(settings.url)
        try:
            manifest = make_backup(database, raw=RawStore(settings.data_dir), path=path, now=now)
        finally:
            database.close()
        note_backup(settings.data_dir, path=path, now=now)
    except (StartError, BackupError) as error:
        return _refuse("backup", str(error))
    except SQLAlchemyError as error:
        return _refuse("backup", f"the database cannot be read ({_first_line(error)})")
    except OSError as error:
        return _refuse("backup", f"{error.filename or args.file}: {error.strerror or error}")
    sys.stdout.write(
        f"{path}\n{len(manifest.files) - 1} raw files and the database, "
        f"{path.stat().st_size / 1e6:.1f} MB. It holds keys and names: keep it where only you "
        "can read it, on another machine.\n"
    )
    if manifest.lacking:
        sys.stderr.write(
            f"suntally backup: {len(manifest.lacking)} raw files were lost or damaged before this "
            "backup and are not in it; “suntally check” names them\n"
        )
        return _LACKING
    return _DONE


def run_restore(args: argparse.Namespace) -> int:
    """Put a backup into an empty place: 0 done, 2 nothing was changed."""
    from sqlalchemy.exc import SQLAlchemyError

    from service.backups.form import BackupError
    from service.backups.restore import restore_backup
    from service.serve import StartError, settings_from

    try:
        settings = settings_from(args)
        manifest = restore_backup(args.file, settings=settings)
    except (StartError, BackupError) as error:
        return _refuse("restore", str(error))
    except SQLAlchemyError as error:
        return _refuse("restore", f"the database cannot be used ({_first_line(error)})")
    except OSError as error:
        return _refuse("restore", f"{error.filename or args.file}: {error.strerror or error}")
    sys.stdout.write(
        f"Restored as of {manifest.made_at}: {len(manifest.files) - 1} raw files and the database, "
        "every byte checked.\nWhat was withdrawn or erased since then (keys, links, people, "
        "customers) is back: withdraw and erase it again.\n"
    )
    return _DONE


def _first_line(error: Exception) -> str:
    return str(error.__cause__ or error).splitlines()[0]


def _refuse(command: str, why: str) -> int:
    sys.stderr.write(f"suntally {command}: {why}\n")
    return _NOT_DONE
