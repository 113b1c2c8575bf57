"""How a bundle is written, for the writer and for whoever checks it.

A bundle is a zip file. Its files stand in the order of their names; then `CHECKSUMS` with the
SHA-256 of each, as `sha256sum` writes and checks it; then `SIGNATURE.json`, which signs the hash of
`CHECKSUMS` (the root) and the hash of every byte of the zip before it. All fields of the zip that
could vary are fixed, so that the same content gives the same bytes, and a change of any byte shows.
"""

import json
from collections.abc import Mapping
from zipfile import ZIP_DEFLATED, ZIP_STORED, ZipInfo

FORMAT = "suntally-bundle-1"
CHECKSUMS = "CHECKSUMS"
SIGNATURE = "SIGNATURE.json"
# What is packed already is not packed again.
PACKED = (".gz", ".zip")
CHUNK = 1 << 20
_ATTRIBUTES = 0o600 << 16


def zip_entry(name: str) -> ZipInfo:
    """Give the entry of a file with everything that could vary fixed."""
    entry = ZipInfo(name)
    stored = name == SIGNATURE or name.endswith(PACKED)
    entry.compress_type = ZIP_STORED if stored else ZIP_DEFLATED
    entry.create_system = 3
    entry.external_attr = _ATTRIBUTES
    return entry


def checksum_line(sha256: str, name: str) -> str:
    """Write a line of `CHECKSUMS`."""
    return f"{sha256}  {name}\n"


def seal_text(fields: Mapping[str, str]) -> bytes:
    """Write the fields of a signature; there is one way to write them."""
    return (json.dumps(dict(fields), indent=1, sort_keys=True) + "\n").encode("ascii")
