"""Raw uploads, kept as received under their SHA-256.

A file appears under its name only when all its bytes are on disk: temporary name, flush, rename,
flush of the folder. A crash in between leaves a temporary file that nobody looks at.
"""

import hashlib
import os
import tempfile
import time
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

_CHUNK = 1 << 20
# A temporary file this old belongs to nobody any more.
_LEFT_BEHIND_S = 86_400.0


class DamagedError(Exception):
    """A kept file is not there, or not as it was kept; the text is its SHA-256."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What a file is known by."""

    sha256: str
    size_bytes: int


class RawStore:
    """The folder of raw uploads."""

    def __init__(self, data_dir: Path) -> None:
        self.folder = data_dir / "uploads"
        self.folder.mkdir(parents=True, exist_ok=True)

    def path(self, sha256: str) -> Path:
        """Give where the bytes of a hash stand."""
        return self.folder / sha256[:2] / sha256

    def keep(self, chunks: Iterable[bytes]) -> Kept:
        """Keep bytes; the same bytes again are kept once.

        A chunk must stay as it is after the next one was given: it may be hashed as late as that.
        """
        digest, size = hashlib.sha256(), 0
        descriptor, temporary = tempfile.mkstemp(prefix=".incoming-", dir=self.folder)
        try:
            # Bytes are hashed while they are written, as both go on without the interpreter.
            with os.fdopen(descriptor, "wb") as out, ThreadPoolExecutor(1) as beside:
                hashed = beside.submit(digest.update, b"")
                for chunk in chunks:
                    hashed.result()  # no more than one chunk waits
                    hashed = beside.submit(digest.update, chunk)
                    size += len(chunk)
                    out.write(chunk)
                out.flush()
                os.fsync(out.fileno())
                hashed.result()
            target = self.path(digest.hexdigest())
            if not target.parent.exists():
                target.parent.mkdir(exist_ok=True)
                _flush_folder(self.folder)
            Path(temporary).replace(target)
            _flush_folder(target.parent)
        except BaseException:
            Path(temporary).unlink(missing_ok=True)
            raise
        return Kept(sha256=digest.hexdigest(), size_bytes=size)

    def read(self, sha256: str) -> bytes:
        """Give the bytes of a hash."""
        return self.path(sha256).read_bytes()

    def chunks(self, sha256: str) -> Iterator[bytes]:
        """Give the bytes of a hash by and by.

        Raises
        ------
        DamagedError : they are missing, or are not those that were kept
        """
        digest = hashlib.sha256()
        try:
            with self.path(sha256).open("rb") as source:
                while chunk := source.read(_CHUNK):
                    digest.update(chunk)
                    yield chunk
        except FileNotFoundError:
            raise DamagedError(sha256) from None
        if digest.hexdigest() != sha256:
            raise DamagedError(sha256)

    def drop(self, sha256: str) -> None:
        """Remove bytes that nothing refers to any more."""
        self.path(sha256).unlink(missing_ok=True)

    def sweep(self) -> None:
        """Remove temporary files that a crash left behind."""
        for path in self.folder.glob(".incoming-*"):
            with suppress(FileNotFoundError):  # it has got its name, or another worker swept it
                if time.time() - path.stat().st_mtime > _LEFT_BEHIND_S:
                    path.unlink()


def _flush_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
