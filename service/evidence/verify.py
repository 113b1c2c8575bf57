"""Is a bundle as it was made? Every byte of it counts, and none of it is trusted.

What is checked first is what could do harm: names that would leave a folder, files within files,
more content than any log. Then the files against `CHECKSUMS`, and the whole against the signature.
Contents pass through in chunks; nothing is written anywhere.
"""

import hashlib
import json
import struct
import unicodedata
import zlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import BinaryIO
from zipfile import BadZipFile, ZipFile, ZipInfo

from service.evidence.archive import sha256_of
from service.evidence.form import CHECKSUMS, CHUNK, FORMAT, SIGNATURE, seal_text, zip_entry
from service.evidence.signing import signed_by

_END = struct.Struct("<4s4H2LH")
_LOCAL_HEADER, _RECORD = 30, 46
_LENGTHS, _LENGTHS_AT = struct.Struct("<3H"), 28
_MIB = 1 << 20
_MOST_DIRECTORY = 64 * _MIB
_MOST_CHECKSUMS = 64 * _MIB
_MOST_SIGNATURE = 4096
# Logs pack to a tenth or a fiftieth; a gigabyte out of three megabytes is no log (engineering
# judgement).
_MOST_TIMES, _ALWAYS_ALLOWED = 300, 1024 * _MIB
_LISTED = 20


class NotABundleError(Exception):
    """The file cannot be looked at as a bundle; the text says why."""


@dataclass(slots=True, kw_only=True)
class Looked:
    """What was found: `problems` in plain words, none where the bundle is as it was made."""

    files: int = 0
    content_bytes: int = 0
    root: str = ""
    made_at: str = ""
    public_key: str = ""
    problems: list[str] = field(default_factory=list)


def verify(path: Path, *, key: str | None = None) -> Looked:
    """Look at a bundle; `key` is the public key that it should be signed with.

    Raises
    ------
    NotABundleError : there is no such file, or it is no zip file at all
    """
    try:
        with path.open("rb") as file, ZipFile(file) as archive:
            looked = Looked()
            entries = archive.infolist()
            _look_at_shape(file, entries, looked)
            if not looked.problems:
                _look_inside(file, archive, looked, key)
            return looked
    except (BadZipFile, NotImplementedError, UnicodeDecodeError, EOFError) as error:
        raise NotABundleError(f"this is no zip file, or it is damaged ({error})") from None
    except OSError as error:
        raise NotABundleError(error.strerror or "it cannot be read") from None


def _look_at_shape(file: BinaryIO, entries: list[ZipInfo], looked: Looked) -> None:
    """Check what must be right before any content is unpacked."""
    size = file.seek(0, 2)
    problems = looked.problems
    problems += [f"{_said(one.filename)}: {why}" for one in entries if (why := _bad_name(one))]
    first = {_folded(one.filename): one.filename for one in reversed(entries)}
    count = Counter(_folded(one.filename) for one in entries)
    problems += [
        f"{_said(first[name])} is there {number} times"
        for name, number in count.items()
        if number > 1
    ]
    declared = sum(one.file_size for one in entries)
    if declared > max(_ALWAYS_ALLOWED, _MOST_TIMES * size):
        problems.append(
            f"it would unpack to {declared / _MIB:,.0f} MiB, {declared / max(size, 1):,.0f} times "
            "its size; nothing was unpacked"
        )
    if any(one.flag_bits & 0x1 for one in entries):
        problems.append("it is encrypted; bundles are not")
    if not _is_tight(file, entries, size):
        problems.append(
            "bytes stand before, between or after its files that do not belong there, or files "
            "overlap"
        )
    del problems[_LISTED:]


def _bad_name(entry: ZipInfo) -> str | None:
    """Say why a name could lead out of a folder or hide something, where it could."""
    name = entry.orig_filename
    path = PurePosixPath(name)
    if not name or not name.isascii() or not name.isprintable():
        return "a name with characters that no bundle uses"
    if path.is_absolute() or "\\" in name or ":" in name:
        return "a name that points to a place of its own"
    if str(path) != name or ".." in path.parts:
        return "a name that leads out of the folder, or a folder"
    if (entry.external_attr >> 16) & 0o170000 == 0o120000:
        return "a link to another file"
    return None


def _folded(name: str) -> str:
    """Give a name as systems see it that do not tell capitals apart."""
    return unicodedata.normalize("NFC", name).casefold()


def _is_tight(file: BinaryIO, entries: list[ZipInfo], size: int) -> bool:
    """Tell whether entries, directory and end fill the file exactly, in this order."""
    file.seek(max(size - _END.size, 0))
    end = file.read(_END.size)
    if len(end) < _END.size or end[:4] != b"PK\5\6":
        return False
    _, disk, start_disk, here, total, length, offset, comment = _END.unpack(end)
    if (disk, start_disk, comment) != (0, 0, 0) or here != total or total != len(entries):
        return False
    if length > _MOST_DIRECTORY or offset + length + _END.size != size:
        return False
    starts = [one.header_offset for one in entries]
    ends = [
        one.header_offset + _LOCAL_HEADER + len(one.filename) + one.compress_size for one in entries
    ]
    if not entries:
        return bool(offset == 0)
    if starts[0] != 0 or ends[-1] != offset:
        return False
    # The reader takes what is left for the last name, whatever length its record states.
    last = len(entries[-1].filename)
    file.seek(size - _END.size - last - _RECORD + _LENGTHS_AT)
    if file.read(_LENGTHS.size) != _LENGTHS.pack(last, 0, 0):
        return False
    return all(stop == start for stop, start in zip(ends, starts[1:], strict=False))


def _look_inside(file: BinaryIO, archive: ZipFile, looked: Looked, key: str | None) -> None:
    entries = archive.infolist()
    names = [one.filename for one in entries]
    problems = looked.problems
    for needed in (CHECKSUMS, SIGNATURE):
        if needed not in names:
            problems.append(f"{needed} is missing, so nothing can be checked")
    if problems:
        return
    problems += [
        f"{one.filename}: written in another way than bundles are"
        for one in entries
        if not _usual(one)
    ][:_LISTED]
    expected = _checksums(archive, looked)
    if expected is None:
        return
    _compare(archive, names, expected, looked)
    _look_at_seal(file, archive, looked, key)


def _usual(entry: ZipInfo) -> bool:
    """Tell whether every field of an entry is as the writer makes it."""
    usual = zip_entry(entry.filename)
    fields = (
        "date_time", "compress_type", "comment", "extra", "create_system", "create_version",
        "extract_version", "reserved", "flag_bits", "volume", "internal_attr", "external_attr",
    )  # fmt: skip
    return all(getattr(entry, name) == getattr(usual, name) for name in fields)


def _checksums(archive: ZipFile, looked: Looked) -> dict[str, str] | None:
    """Read the list of files; None where it is not one."""
    entry = archive.getinfo(CHECKSUMS)
    content = _whole(archive, entry, _MOST_CHECKSUMS)
    if content is None:
        looked.problems.append(f"{CHECKSUMS} was altered: it cannot be read")
        return None
    looked.root = hashlib.sha256(content).hexdigest()
    expected: dict[str, str] = {}
    for number, line in enumerate(content.decode("ascii", "replace").splitlines(), start=1):
        sha256, gap, name = line[:64], line[64:66], line[66:]
        if gap != "  " or not name or set(sha256) - set("0123456789abcdef") or name in expected:
            looked.problems.append(f"{CHECKSUMS} was altered: line {number} is not one of ours")
            return None
        expected[name] = sha256
    return expected


def _compare(archive: ZipFile, names: list[str], expected: dict[str, str], looked: Looked) -> None:
    """Hold every file against its checksum, and the order against that of the list."""
    found: dict[str, str | None] = {}
    for entry in archive.infolist():
        if entry.filename not in (CHECKSUMS, SIGNATURE):
            found[entry.filename] = _hash(archive, entry)
            looked.content_bytes += entry.file_size
    looked.files = len(found)
    missing = [name for name in expected if name not in found]
    added = [name for name in found if name not in expected]
    problems: list[str] = []
    for name in list(added):
        before = next((one for one in missing if expected[one] == found[name]), None)
        if before is not None:
            problems.append(f"{before} was renamed to {name}")
            missing.remove(before)
            added.remove(name)
    problems += [f"{name} is missing" for name in missing]
    problems += [f"{name} was added" for name in added]
    problems += [
        f"{name} was altered"
        for name, sha256 in found.items()
        if name in expected and sha256 != expected[name]
    ]
    if not problems and names != [*expected, CHECKSUMS, SIGNATURE]:
        problems.append("its files stand in another order than in CHECKSUMS")
    more = len(problems) - _LISTED
    looked.problems += problems[:_LISTED]
    if more > 0:
        looked.problems.append(f"and {more} more of this sort")


def _look_at_seal(file: BinaryIO, archive: ZipFile, looked: Looked, key: str | None) -> None:
    entry = archive.getinfo(SIGNATURE)
    fields = _fields(_whole(archive, entry, _MOST_SIGNATURE))
    if fields is None or not _header_is_usual(file, entry):
        looked.problems.append(f"{SIGNATURE} was altered: it is not written as ours are")
        return
    looked.made_at, looked.public_key = fields["made_at"], fields["public_key"]
    unsigned = {name: value for name, value in fields.items() if name != "signature"}
    if not signed_by(looked.public_key, signature=fields["signature"], content=seal_text(unsigned)):
        looked.problems.append("the signature does not fit: signature, time or hashes were altered")
    if fields["root_sha256"] != looked.root:
        looked.problems.append(f"{CHECKSUMS} is not the list that was signed")
    if key is not None and key != looked.public_key:
        looked.problems.append("it is signed, but not with the key that you gave")
    if not looked.problems and fields["container_sha256"] != sha256_of(
        _front(file, entry.header_offset)
    ):
        looked.problems.append(
            "every file in it is as it was signed, but the zip around them was written anew or "
            "altered"
        )


def _fields(content: bytes | None) -> dict[str, str] | None:
    """Give the fields of a signature, None where it is not written as ours are."""
    try:
        fields = json.loads(content or b"")
    except ValueError:
        return None
    wanted = {"format", "made_at", "root_sha256", "container_sha256", "public_key", "signature"}
    if not isinstance(fields, dict) or set(fields) != wanted or fields["format"] != FORMAT:
        return None
    if not all(isinstance(one, str) for one in fields.values()) or seal_text(fields) != content:
        return None
    return fields


def _header_is_usual(file: BinaryIO, entry: ZipInfo) -> bool:
    """Tell whether the header before the signature, which nothing else covers, is as written."""
    usual = zip_entry(entry.filename)
    usual.CRC, usual.compress_size, usual.file_size = entry.CRC, entry.file_size, entry.file_size
    header = usual.FileHeader(zip64=False)
    file.seek(entry.header_offset)
    return file.read(len(header)) == header


def _hash(archive: ZipFile, entry: ZipInfo) -> str | None:
    """Give the SHA-256 of a file; None where it cannot be unpacked."""
    try:
        with archive.open(entry) as source:
            sha256 = sha256_of(iter(lambda: source.read(CHUNK), b""))
            return sha256 if source.tell() == entry.file_size else None
    except (BadZipFile, NotImplementedError, RuntimeError, EOFError, zlib.error):
        return None


def _whole(archive: ZipFile, entry: ZipInfo, most: int) -> bytes | None:
    if entry.file_size > most:
        return None
    try:
        content = archive.read(entry)
        return content if len(content) == entry.file_size else None
    except (BadZipFile, NotImplementedError, RuntimeError, EOFError, zlib.error):
        return None


def _front(file: BinaryIO, length: int) -> Iterator[bytes]:
    file.seek(0)
    while length > 0 and (chunk := file.read(min(CHUNK, length))):
        length -= len(chunk)
        yield chunk


def _said(name: str) -> str:
    """Show a name that may hold anything."""
    return ascii(name)[1:-1][:80]
