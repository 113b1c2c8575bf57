"""Compressed uploads become plain files, in memory, within a limit.

Only .gz and .zip; what unpacks to more than the limit is refused while it unpacks, whatever its
header claims.
"""

import io
import struct
import zipfile
import zlib
from pathlib import PurePosixPath

from analysis.errors import LogError
from analysis.logs.shapes import LogSource

_TEXTS = (".csv", ".tsv", ".txt", ".log")
_MOST_MEMBERS = 20_000
_GZIP = b"\x1f\x8b"
_ZIP = (b"PK\x03\x04", b"PK\x05\x06")
_ZIP_ENTRY = b"PK\x01\x02"
_WITH_GZIP_HEADER = 31
_STEP = 1 << 20
_DAMAGED = "the archive is damaged or cut off; make and upload it again"


def unpack(name: str, data: bytes, *, limit_bytes: int) -> list[LogSource]:
    """Give the plain files in an upload.

    Parameters
    ----------
    name : str
        File name of the upload.
    data : bytes
        Its content; told apart by its first bytes, not by its name.
    limit_bytes : int
        The most that may come out, all members together [bytes].

    Returns
    -------
    list of LogSource
        The upload itself where it is not compressed; else its members that are .csv, .tsv, .txt or
        .log, in any folder.

    Raises
    ------
    LogError
        The archive is damaged, locked with a password, too large, or holds no log.
    """
    if data.startswith(_ZIP):
        return _from_zip(name, data, limit_bytes)
    if data.startswith(_GZIP):
        plain = _gunzipped(name, data, limit_bytes)
        if plain[257:262] == b"ustar":
            raise LogError("this is a tar archive; pack the logs as .zip instead", file=name)
        short = name[: -len(".gz")] if name.lower().endswith(".gz") else name
        return [LogSource(name=short, data=plain)]
    if len(data) > limit_bytes:
        raise _too_large(name, limit_bytes)
    return [LogSource(name=name, data=data)]


def _too_large(name: str, limit_bytes: int) -> LogError:
    return LogError(
        f"this holds more than {limit_bytes / 1e6:.0f} MB; split the log, for instance by year",
        file=name,
    )


def _too_many(name: str) -> LogError:
    return LogError(f"the archive holds more than {_MOST_MEMBERS} files; split it", file=name)


def _gunzipped(name: str, data: bytes, limit_bytes: int) -> bytes:
    out: list[bytes] = []
    size = 0
    rest = data
    while rest:
        member = zlib.decompressobj(_WITH_GZIP_HEADER)
        while not member.eof:
            try:
                piece = member.decompress(rest, _STEP)
            except zlib.error:
                raise LogError(_DAMAGED, file=name) from None
            if not piece and not member.unconsumed_tail and not member.eof:
                raise LogError(_DAMAGED, file=name)
            rest = member.unconsumed_tail
            size += len(piece)
            if size > limit_bytes:
                raise _too_large(name, limit_bytes)
            out.append(piece)
        # Loggers append members; zero padding after the last is allowed (RFC 1952).
        rest = member.unused_data.lstrip(b"\x00")
    return b"".join(out)


def _from_zip(name: str, data: bytes, limit_bytes: int) -> list[LogSource]:
    # The library makes an object of every entry before it can be asked how many there are.
    if data.count(_ZIP_ENTRY) > _MOST_MEMBERS:
        raise _too_many(name)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _members(name, archive, limit_bytes)
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        OSError,
        ValueError,
        KeyError,
        IndexError,
        struct.error,
        OverflowError,
        NotImplementedError,
        RuntimeError,
    ):
        raise LogError(_DAMAGED, file=name) from None


def _members(name: str, archive: zipfile.ZipFile, limit_bytes: int) -> list[LogSource]:
    infos = [info for info in archive.infolist() if not info.is_dir()]
    if len(infos) > _MOST_MEMBERS:
        raise _too_many(name)
    names = [info.filename for info in infos]
    if any(one.startswith(("xl/", "word/")) for one in names):
        raise LogError("this is a spreadsheet or document; save the table as CSV text", file=name)
    wanted = [info for info in infos if _is_log(info.filename)]
    if not wanted:
        held = ", ".join(names[:5]) or "nothing"
        raise LogError(
            f"the archive holds no .csv, .tsv, .txt or .log file (it holds {held[:200]})", file=name
        )
    out: list[LogSource] = []
    left = limit_bytes
    for info in wanted:
        member = f"{name}/{info.filename}"
        if info.flag_bits & 1:
            raise LogError("the archive is locked with a password; pack it without", file=member)
        with archive.open(info) as opened:
            plain = opened.read(left + 1)
        if len(plain) > left:
            raise _too_large(name, limit_bytes)
        if plain.startswith(_GZIP):
            plain = _gunzipped(member, plain, left)
        left -= len(plain)
        out.append(LogSource(name=member, data=plain))
    return out


def _is_log(filename: str) -> bool:
    path = PurePosixPath(filename.replace("\\", "/"))
    if any(part.startswith((".", "__MACOSX")) for part in path.parts):
        return False
    bare = path.name.lower().removesuffix(".gz")
    return bare.endswith(_TEXTS)
