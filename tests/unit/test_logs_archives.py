"""Archives: what comes out, and what is refused before it fills the memory."""

import gzip
import io
import zipfile

import pytest

from analysis.errors import LogError
from analysis.logs.archives import unpack

ROWS = b"time,t_collector_c\n2025-06-01T12:01:00Z,60\n"


def zipped(members: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", method) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return held.getvalue()


def test_a_plain_file_passes_as_it_is():
    (one,) = unpack("log.csv", ROWS, limit_bytes=1000)
    assert (one.name, one.data) == ("log.csv", ROWS)


def test_gzip_loses_its_ending_and_joins_appended_members():
    (one,) = unpack("log.csv.gz", gzip.compress(ROWS) + gzip.compress(ROWS), limit_bytes=1000)
    assert (one.name, one.data) == ("log.csv", ROWS + ROWS)


def test_zip_gives_its_text_members_from_any_folder():
    data = zipped(
        {
            "2025/may.csv": ROWS,
            "2025/06/june.TXT": ROWS,
            "july.csv.gz": gzip.compress(ROWS),
            "__MACOSX/may.csv": b"x",
            ".hidden.csv": b"x",
            "photo.jpg": b"x",
            "readme.md": b"x",
        }
    )
    found = unpack("logs.zip", data, limit_bytes=1000)
    assert [one.name for one in found] == [
        "logs.zip/2025/may.csv",
        "logs.zip/2025/06/june.TXT",
        "logs.zip/july.csv.gz",
    ]
    assert all(one.data == ROWS for one in found)


@pytest.mark.parametrize("method", [zipfile.ZIP_STORED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_other_ways_to_pack_a_zip_are_read(method):
    assert unpack("l.zip", zipped({"a.csv": ROWS}, method), limit_bytes=1000)[0].data == ROWS


def test_an_archive_is_told_by_its_bytes_not_its_name():
    assert unpack("log.csv", gzip.compress(ROWS), limit_bytes=1000)[0].data == ROWS


@pytest.mark.parametrize(
    "packed",
    [
        lambda: gzip.compress(bytes(50_000_000)),
        lambda: zipped({"a.csv": bytes(50_000_000)}),
        lambda: zipped({f"{n}.csv": bytes(600_000) for n in range(4)}),
        lambda: zipped({"a.csv.gz": gzip.compress(bytes(50_000_000))}),
        lambda: bytes(2_000_000),
    ],
    ids=["gz", "zip", "zip of four", "gz in a zip", "plain"],
)
def test_what_unpacks_beyond_the_limit_is_refused(packed):
    with pytest.raises(LogError, match="more than 1 MB"):
        unpack("bomb", packed(), limit_bytes=1_000_000)


@pytest.mark.parametrize("cut", [5, 12, 30, -1])
def test_a_cut_off_archive_is_refused_plainly(cut):
    for data in (gzip.compress(ROWS * 50), zipped({"a.csv": ROWS * 50})):
        with pytest.raises(LogError, match="damaged or cut off"):
            unpack("log", data[:cut], limit_bytes=100_000)


def test_a_flipped_byte_is_noticed():
    data = bytearray(gzip.compress(ROWS * 50))
    data[-6] ^= 0xFF
    with pytest.raises(LogError, match="damaged"):
        unpack("log.gz", bytes(data), limit_bytes=100_000)


def test_a_locked_zip_is_refused_with_the_remedy():
    data = bytearray(zipped({"a.csv": ROWS}))
    for at in (6, data.rindex(b"PK\x01\x02") + 8):
        data[at] |= 1
    with pytest.raises(LogError, match="locked with a password"):
        unpack("log.zip", bytes(data), limit_bytes=100_000)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (zipped({"photo.jpg": b"x"}), r"holds no \.csv.*photo\.jpg"),
        (zipped({"xl/workbook.xml": b"x"}), "spreadsheet"),
        (gzip.compress(bytes(257) + b"ustar" + bytes(300)), "tar archive"),
    ],
    # gzip writes the time into its bytes: they must not become the tests' names.
    ids=["pictures only", "spreadsheet", "tar"],
)
def test_an_archive_without_logs_is_refused_plainly(data, words):
    with pytest.raises(LogError, match=words):
        unpack("log", data, limit_bytes=100_000)


def test_an_archive_of_too_many_entries_is_refused_before_they_are_looked_at(monkeypatch):
    data = zipped({f"{number}.csv": b"" for number in range(20_001)}, zipfile.ZIP_STORED)

    def never(*_args: object) -> None:
        raise AssertionError("it was opened")

    monkeypatch.setattr(zipfile, "ZipFile", never)
    with pytest.raises(LogError, match="more than 20000 files"):
        unpack("many.zip", data, limit_bytes=1000)
