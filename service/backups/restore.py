"""Putting a backup into an empty place: all of it, or nothing that is taken for a service.

Everything is unpacked and checked beside the place first; the database comes last, so that a crash
on the way leaves no service, and the next try goes through.
"""

import shutil
import zipfile
from pathlib import Path

from alembic.util.exc import CommandError

from service.backups import queries
from service.backups.form import DATABASE, UPLOADS, BackupError, Manifest, checked, read_manifest
from service.db.engine import Database
from service.ingest.files import RawStore
from service.settings import Settings

_PART = ".restoring"


def restore_backup(path: Path, *, settings: Settings) -> Manifest:
    """Put a backup into the data folder, and into the database where that is another.

    Raises
    ------
    BackupError : the place is not empty, or the backup is damaged or of a newer version
    OSError : it cannot be read or written
    """
    refuse_used(settings)
    settings.data_dir.mkdir(parents=True, exist_ok=True)
    part = settings.data_dir / _PART
    if part.exists():
        shutil.rmtree(part)
    part.mkdir(mode=0o700)
    try:
        with zipfile.ZipFile(path) as archive:
            manifest = read_manifest(archive)
            raw = RawStore(part)
            for name, entry in manifest.files.items():
                if name == DATABASE:
                    with (part / DATABASE).open("xb") as out:
                        out.writelines(checked(archive, name, entry))
                elif name != UPLOADS + entry.sha256:
                    raise BackupError(f"the backup is damaged: {name} is not named by its content")
                else:
                    raw.keep(checked(archive, name, entry))
        _upgrade(part / DATABASE)
        _move_uploads(part, settings)
        _move_database(part / DATABASE, settings)
    except zipfile.BadZipFile:
        raise BackupError("this is no backup of Suntally, or it is damaged") from None
    finally:
        shutil.rmtree(part)
    return manifest


def refuse_used(settings: Settings) -> None:
    """See that nothing would be overwritten.

    Raises
    ------
    BackupError
    """
    if settings.database_url is None:
        if (settings.data_dir / "suntally.db").exists():
            raise BackupError(
                f"{settings.data_dir} holds a service already; nothing is overwritten. Name an "
                "empty folder with --data-dir, or move that one away"
            )
        return
    database = Database(settings.url)
    try:
        with database.reading() as db:
            if queries.is_used(db):
                raise BackupError(
                    "the database holds a service already; nothing is overwritten. Name an empty "
                    "database with --database-url"
                )
    finally:
        database.close()


def _upgrade(path: Path) -> None:
    database = Database(f"sqlite:///{path}")
    try:
        database.migrate()
        database.empty_log()
    except CommandError:
        raise BackupError(
            "a newer Suntally made this backup; restore it with that version"
        ) from None
    finally:
        database.close()


def _move_uploads(part: Path, settings: Settings) -> None:
    raw = RawStore(settings.data_dir)
    for path in sorted((part / "uploads").glob("??/*")):
        target = raw.path(path.name)
        target.parent.mkdir(exist_ok=True)
        path.replace(target)


def _move_database(moment: Path, settings: Settings) -> None:
    if settings.database_url is None:
        moment.replace(settings.data_dir / "suntally.db")
        return
    source, target = Database(f"sqlite:///{moment}"), Database(settings.url)
    try:
        target.migrate()
        with source.reading() as taken, target.session() as db:
            if queries.is_used(db):
                raise BackupError("somebody else began to use the database; nothing was restored")
            queries.copy_all(taken, db)
    finally:
        source.close()
        target.close()
