"""Writing a bundle: one file after the other, a chunk at a time."""

import hashlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import BinaryIO
from zipfile import LargeZipFile, ZipFile

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from service.errors import TooLargeError
from service.evidence.form import (
    CHECKSUMS,
    CHUNK,
    FORMAT,
    SIGNATURE,
    checksum_line,
    seal_text,
    zip_entry,
)
from service.evidence.signing import public_hex


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """A file of a bundle; `chunks` gives its bytes when it is its turn."""

    name: str
    chunks: Callable[[], Iterable[bytes]]


def text_member(name: str, text: str) -> Member:
    """Give a file from its text."""
    return Member(name=name, chunks=lambda: [text.encode("utf-8")])


def write_bundle(
    out: BinaryIO, members: Iterable[Member], *, key: Ed25519PrivateKey, now: datetime
) -> str:
    """Write a bundle into an empty file that can be read back; gives its root hash.

    Raises
    ------
    TooLargeError : it would be over four gigabytes, or hold over 65,535 files
    """
    ordered = sorted(members, key=lambda one: one.name)
    try:
        with ZipFile(out, "w", allowZip64=False) as archive:
            sums = "".join(
                checksum_line(_written(archive, one.name, one.chunks()), one.name)
                for one in ordered
            )
            root = _written(archive, CHECKSUMS, [sums.encode("ascii")])
            fields = {
                "format": FORMAT,
                "made_at": f"{now:%Y-%m-%dT%H:%M:%SZ}",
                "root_sha256": root,
                "container_sha256": sha256_of(_read_back(out)),
                "public_key": public_hex(key),
            }
            fields["signature"] = key.sign(seal_text(fields)).hex()
            archive.writestr(zip_entry(SIGNATURE), seal_text(fields))
    except (LargeZipFile, RuntimeError) as error:
        if isinstance(error, LargeZipFile) or "exceeded ZIP64 limit" in str(error):
            raise TooLargeError(
                "So many or such large logs do not fit into one bundle; it can hold 65,535 files "
                "and four gigabytes. Take the logs from the data folder instead."
            ) from None
        raise
    return root


def sha256_of(chunks: Iterable[bytes]) -> str:
    """Give the SHA-256 of chunks."""
    digest = hashlib.sha256()
    for chunk in chunks:
        digest.update(chunk)
    return digest.hexdigest()


def _written(archive: ZipFile, name: str, chunks: Iterable[bytes]) -> str:
    digest = hashlib.sha256()
    with archive.open(zip_entry(name), "w") as into:
        for chunk in chunks:
            digest.update(chunk)
            into.write(chunk)
    return digest.hexdigest()


def _read_back(out: BinaryIO) -> Iterator[bytes]:
    """Give everything that was written so far."""
    end = out.tell()
    out.flush()
    out.seek(0)
    while out.tell() < end and (chunk := out.read(min(CHUNK, end - out.tell()))):
        yield chunk
    out.seek(end)
