"""The form of a backup: a zip with the database, the raw files, and a list of both at its end.

`database.db` is a SQLite file whatever database the service runs on, `uploads/HASH` a raw file
under its SHA-256, `manifest.json` the list: for each file its size and SHA-256. The zip stands
under its name only when all of it is on disk.
"""

import hashlib
import json
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import IO

FORM = 1
DATABASE = "database.db"
MANIFEST = "manifest.json"
UPLOADS = "uploads/"
_CHUNK = 1 << 20


class BackupError(Exception):
    """A backup cannot be made or used; the text says why and what to do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """What a file must be."""

    sha256: str
    size_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What a backup says of itself.

    Attributes
    ----------
    made_at : UTC, ISO 8601
    revision : state of the tables
    files : every file but the manifest itself
    lacking : raw files that the service had lost, or that were damaged, when it was made
    """

    form: int = FORM
    made_at: str
    revision: str
    files: dict[str, Entry]
    lacking: list[str] = field(default_factory=list)

    def as_bytes(self) -> bytes:
        """Write it."""
        return json.dumps(asdict(self), indent=1, sort_keys=True).encode()


def read_manifest(archive: zipfile.ZipFile) -> Manifest:
    """Read what a backup says of itself.

    Raises
    ------
    BackupError : it is none, or of a form that is not known
    """
    try:
        given = json.loads(archive.read(MANIFEST))
        if given["form"] != FORM:
            raise BackupError("a newer Suntally made this backup; restore it with that version")
        files = {name: Entry(**entry) for name, entry in given.pop("files").items()}
        manifest = Manifest(**given, files=files)
    except (KeyError, TypeError, ValueError, AttributeError, zipfile.BadZipFile):
        raise BackupError("this is no backup of Suntally, or it is damaged") from None
    if set(archive.namelist()) != {*files, MANIFEST} or DATABASE not in files:
        raise BackupError("the backup is damaged: its files are not those of its list")
    return manifest


def add(archive: zipfile.ZipFile, name: str, chunks: Iterable[bytes]) -> Entry:
    """Write a file into a backup."""
    digest, size = hashlib.sha256(), 0
    info = zipfile.ZipInfo(name)
    info.compress_type = zipfile.ZIP_DEFLATED
    info.external_attr = 0o600 << 16
    with archive.open(info, "w", force_zip64=True) as out:
        for chunk in chunks:
            digest.update(chunk)
            size += len(chunk)
            out.write(chunk)
    return Entry(sha256=digest.hexdigest(), size_bytes=size)


def checked(archive: zipfile.ZipFile, name: str, entry: Entry) -> Iterator[bytes]:
    """Give the bytes of a file in a backup.

    Raises
    ------
    BackupError : they are not those that were written
    """
    import zlib

    digest = hashlib.sha256()
    try:
        with archive.open(name) as source:
            for chunk in pieces(source):
                digest.update(chunk)
                yield chunk
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError):
        raise BackupError(f"the backup is damaged: {name} cannot be read") from None
    if digest.hexdigest() != entry.sha256:
        raise BackupError(f"the backup is damaged: {name} is not what was written")


def pieces(source: IO[bytes]) -> Iterator[bytes]:
    """Give a file by and by."""
    return iter(lambda: source.read(_CHUNK), b"")


def file_pieces(path: Path) -> Iterator[bytes]:
    """Give a file on disk by and by."""
    with path.open("rb") as source:
        yield from pieces(source)
