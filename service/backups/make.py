"""Making a backup while the service runs.

First one moment of the database, then the raw files that it refers to: they never change, and only
a purge removes any. What a purge removed in between is no loss, but the moment is then taken anew,
so that database and files are of one moment.
"""

import os
import tempfile
import zipfile
from datetime import datetime
from pathlib import Path

from service.backups import queries
from service.backups.form import (
    DATABASE,
    MANIFEST,
    UPLOADS,
    BackupError,
    Entry,
    Manifest,
    file_pieces,
)
from service.backups.form import add as add_file
from service.db.engine import Database
from service.ingest.files import DamagedError, RawStore

NOTE = "last-backup"
_TRIES = 5


class _PurgedError(Exception):
    """A raw file was removed between the moment of the database and its turn."""


def make_backup(database: Database, *, raw: RawStore, path: Path, now: datetime) -> Manifest:
    """Write everything into one file; gives its list.

    Raises
    ------
    BackupError : there is such a file already, or the tables are not of this version
    OSError : it cannot be written; nothing is left of it
    """
    if path.exists():
        raise BackupError(f"there is a file {path} already; choose another name")
    for _ in range(_TRIES):
        # The name of a part begins with a dot and it is readable by its owner only: it holds keys.
        descriptor, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
        beside = Path(name)
        try:
            with os.fdopen(descriptor, "wb") as out:
                with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=3) as archive:
                    manifest = _write(archive, database, raw, beside.parent, now)
                out.flush()
                os.fsync(out.fileno())
            os.link(beside, path)  # unlike a rename, this never replaces what is there
        except _PurgedError:
            continue
        except FileExistsError:
            raise BackupError(f"there is a file {path} already; choose another name") from None
        finally:
            beside.unlink(missing_ok=True)
        return manifest
    raise BackupError("logs are being removed all the time; try again in a minute")


def _write(
    archive: zipfile.ZipFile, database: Database, raw: RawStore, folder: Path, now: datetime
) -> Manifest:
    files: dict[str, Entry] = {}
    lacking: list[str] = []
    with tempfile.TemporaryDirectory(prefix=".snapshot-", dir=folder) as name:
        moment = Path(name) / DATABASE
        revision = take_moment(database, moment)
        copy = Database(f"sqlite:///{moment}")
        try:
            with copy.reading() as db:
                hashes = queries.raw_hashes(db)
        finally:
            copy.close()
        files[DATABASE] = add_file(archive, DATABASE, file_pieces(moment))
    for sha256 in hashes:
        try:
            for _ in raw.chunks(sha256):
                pass
        except DamagedError:
            with database.reading() as db:
                if sha256 not in queries.raw_hashes(db):
                    raise _PurgedError from None
            lacking.append(sha256)
            continue
        try:
            files[UPLOADS + sha256] = add_file(archive, UPLOADS + sha256, raw.chunks(sha256))
        except DamagedError:
            raise _PurgedError from None
    manifest = Manifest(made_at=now.isoformat(), revision=revision, files=files, lacking=lacking)
    archive.writestr(MANIFEST, manifest.as_bytes())
    return manifest


def take_moment(database: Database, path: Path) -> str:
    """Write one moment of a database as a SQLite file; gives the state of its tables.

    Raises
    ------
    BackupError : there are no tables, or they are not of this version
    """
    with database.reading() as db:
        revision = queries.revision(db)
    if revision is None:
        raise BackupError("the database holds nothing yet; start the service first")
    if database.is_sqlite:
        queries.snapshot_sqlite(database, path)
        return revision
    target = Database(f"sqlite:///{path}")
    try:
        target.migrate()
        with database.reading() as source, target.session() as db:
            here = queries.revision(db)
            if queries.revision(source) != here:
                raise BackupError(
                    "the tables are of another version than this program; use that version, or "
                    "start this one once, which brings them up to date"
                )
            queries.copy_all(source, db)
        target.empty_log()
    finally:
        target.close()
    return revision


def note_backup(data_dir: Path, *, path: Path, now: datetime) -> None:
    """Leave a note in the data folder of when the last backup was made, and where."""
    (data_dir / NOTE).write_text(f"{now.isoformat()} {path.absolute()}\n", encoding="utf-8")


def last_backup(data_dir: Path) -> datetime | None:
    """Give when the last backup was made; None where none is known of."""
    try:
        return datetime.fromisoformat((data_dir / NOTE).read_text("utf-8").split(" ", 1)[0])
    except (OSError, ValueError):
        return None
