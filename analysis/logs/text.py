"""From raw bytes to clean UTF-8 lines, or a plain refusal of what is no text."""

import re

import numpy as np
from numpy.typing import NDArray

from analysis.errors import LogError

_HEAD = 65536
_STRETCH = 1 << 18
_MAGIC = (
    (b"PK\x03\x04", "this is a zip or spreadsheet file inside; save the table as CSV text"),
    (b"\x1f\x8b", "this is still compressed; unpack it once more, or give the CSV text"),
    (b"\xd0\xcf\x11\xe0", "this is an old spreadsheet file; save the table as CSV text"),
    (b"%PDF", "this is a PDF; export the log as CSV text"),
    (b"SQLite format 3", "this is a database; export the log as CSV text"),
    (b"PAR1", "this is a Parquet file; export the log as CSV text"),
)
_BOMS = (
    (b"\xef\xbb\xbf", "utf-8"),
    (b"\xff\xfe", "utf-16-le"),
    (b"\xfe\xff", "utf-16-be"),
)
_EMPTY = b"\x00\r\n\t \xef\xbb\xbf"
_ASCII, _FIRST_LEAD, _LAST_LEAD = 0x7F, 0xC2, 0xF4
_MORE_WHOLE = 5
_FEW_STRANGE = 12
_LONE_RETURN = re.compile(rb"\r(?!\n)")


def clean_text(name: str, data: bytes) -> tuple[bytes, str]:
    """Give the text as UTF-8 with line feeds as the only line ends that stand alone.

    Parameters
    ----------
    name : str
        File name, for messages.
    data : bytes
        The file.

    Returns
    -------
    tuple
        The text as UTF-8 bytes, and the name of the encoding it had.

    Raises
    ------
    LogError
        The file is empty or is not text.
    """
    if not data[:_HEAD].strip(_EMPTY) and not data.strip(_EMPTY):
        raise LogError("the file is empty; export the log again and upload that", file=name)
    for magic, what in _MAGIC:
        if data.startswith(magic):
            raise LogError(what, file=name)
    text, encoding = _decoded(name, data)
    text = text.replace(b"\x00", b"") if b"\x00" in text else text
    _no_rubbish(name, text[:_HEAD])
    if b"\r" in text and text.count(b"\r") != text.count(b"\r\n"):
        text = _LONE_RETURN.sub(b"\n", text)
    return text, encoding


def _decoded(name: str, data: bytes) -> tuple[bytes, str]:
    for bom, encoding in _BOMS:
        if data.startswith(bom):
            return _utf_8(name, data[len(bom) :], encoding), encoding.upper()
    head = data[:_HEAD]
    zeros = (head[0::2].count(0), head[1::2].count(0))
    if max(zeros) > len(head) // 5 and min(zeros) <= len(head) // 50:
        encoding = "utf-16-be" if zeros[0] > zeros[1] else "utf-16-le"
        return _utf_8(name, data, encoding), encoding.upper()
    if data.isascii():
        return data, "UTF-8"
    return _with_high_bytes(data)


def _with_high_bytes(data: bytes) -> tuple[bytes, str]:
    """Read bytes that are not all ASCII: UTF-8, perhaps with a damaged sign, else Windows-1252.

    Windows-1252 holds the printable signs of Latin-1 at the same places. Only the stretch that is
    not plain ASCII is turned: mostly that is the header.
    """
    signs = np.frombuffer(data, dtype=np.uint8)
    high = _high_places(signs)
    start, stop = int(high[0]), int(high[-1]) + 1
    stretch = data[start:stop]
    try:
        stretch.decode("utf-8")
    except UnicodeDecodeError:
        pass
    else:
        return data, "UTF-8"
    text = stretch.decode("utf-8", errors="replace")
    strange = text.count("\ufffd")
    begun = int(((signs[high] >= _FIRST_LEAD) & (signs[high] <= _LAST_LEAD)).sum())
    encoding = "UTF-8"
    if begun - strange <= _MORE_WHOLE * strange:
        text, encoding = stretch.decode("cp1252", errors="replace"), "Windows-1252"
    held = memoryview(data)
    return b"".join((held[:start], text.encode("utf-8"), held[stop:])), encoding


def _high_places(signs: NDArray[np.uint8]) -> NDArray[np.intp]:
    """Give the places of the signs beyond ASCII; stretches without one cost one look."""
    found = [
        at + np.flatnonzero(signs[at : at + _STRETCH] > _ASCII)
        for at in range(0, len(signs), _STRETCH)
        if signs[at : at + _STRETCH].max() > _ASCII
    ]
    return np.concatenate(found)


def _utf_8(name: str, body: bytes, encoding: str) -> bytes:
    whole = body if encoding == "utf-8" else body[: len(body) // 2 * 2]
    text = whole.decode(encoding, errors="replace")
    if encoding != "utf-8" and text.count("\ufffd") > len(text) // 50:
        raise LogError("this is not text; export the log as CSV text", file=name)
    return text.encode("utf-8")


def _no_rubbish(name: str, head: bytes) -> None:
    control = sum(head.count(sign) for sign in range(32) if sign not in (9, 10, 12, 13))
    strange = head.count("\ufffd".encode()) * 3
    if control > len(head) // 100 or strange > max(len(head) // 50, _FEW_STRANGE):
        raise LogError("this is binary data, not text; export the log as CSV text", file=name)
