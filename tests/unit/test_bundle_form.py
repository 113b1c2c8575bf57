"""A bundle and its check: every alteration shows, whatever byte it is in, and nothing unpacks."""

import hashlib
import io
import shutil
import subprocess
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given, settings
from hypothesis import strategies as st

from service.evidence.archive import text_member, write_bundle
from service.evidence.form import CHECKSUMS, SIGNATURE, zip_entry
from service.evidence.signing import public_hex
from service.evidence.verify import NotABundleError, verify

KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
NOW = datetime(2025, 6, 20, 12, tzinfo=UTC)
FILES = {
    "README.txt": "What is in here\n",
    "logs/00001-log.csv": "time,t_collector_c\n2025-06-01T10:00:00Z,61.5\n" * 40,
    "logs/00002-log.csv": "time,t_collector_c\n2025-06-02T10:00:00Z,62.5\n" * 40,
    "logs/00003-log.csv.gz": "\x1f\x8bnot packed again",
    "records/empty.csv": "",
    "site.toml": "schema = 1\n",
}


def bundle(files=FILES, *, now=NOW) -> bytes:
    out = io.BytesIO()
    write_bundle(out, [text_member(*one) for one in files.items()], key=KEY, now=now)
    return out.getvalue()


WHOLE = bundle()


def problems(content: bytes, folder: Path, **given) -> list[str]:
    path = folder / "bundle.zip"
    path.write_bytes(content)
    return verify(path, **given).problems


def rewritten(folder: Path, change) -> list[str]:
    """Let `change` take the list of entries and contents, and write them anew as we would."""
    with zipfile.ZipFile(io.BytesIO(WHOLE)) as archive:
        entries = [(one.filename, archive.read(one)) for one in archive.infolist()]
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in change(entries):
            archive.writestr(zip_entry(name) if isinstance(name, str) else name, content)
    return problems(out.getvalue(), folder)


def test_a_bundle_as_it_was_made_has_no_problem(tmp_path):
    assert problems(WHOLE, tmp_path) == []
    looked = verify(tmp_path / "bundle.zip", key=public_hex(KEY))
    assert (looked.files, looked.made_at, looked.problems) == (6, "2025-06-20T12:00:00Z", [])
    with zipfile.ZipFile(io.BytesIO(WHOLE)) as archive:
        assert looked.root == hashlib.sha256(archive.read(CHECKSUMS)).hexdigest()
        assert archive.namelist() == [*sorted(FILES), CHECKSUMS, SIGNATURE]


def test_the_same_content_gives_the_same_bytes_and_another_time_only_another_signature():
    assert bundle(dict(reversed(FILES.items()))) == WHOLE
    later = bundle(now=datetime(2026, 1, 1, tzinfo=UTC))
    with zipfile.ZipFile(io.BytesIO(WHOLE)) as one, zipfile.ZipFile(io.BytesIO(later)) as other:
        for name in one.namelist():
            assert (one.read(name) == other.read(name)) is (name != SIGNATURE)


def test_the_usual_tool_checks_the_same_list(tmp_path):
    tool = shutil.which("sha256sum")
    if tool is None:
        pytest.skip("there is no sha256sum here")
    with zipfile.ZipFile(io.BytesIO(WHOLE)) as archive:
        archive.extractall(tmp_path)
    told = subprocess.run(
        [tool, "-c", CHECKSUMS], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert told.returncode == 0
    assert told.stdout.count(": OK") == len(FILES)


def found(content: bytes, folder: Path) -> bool:
    try:
        return bool(problems(content, folder))
    except NotABundleError:
        return True


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("altered")


def test_each_byte_of_the_ends_counts(folder):
    """Headers of the first file, of the signature and of the directory, and the end."""
    directory = WHOLE.index(b"PK\1\2")
    header = WHOLE.index(b'{\n "container') - 30 - len(SIGNATURE)
    last = len(WHOLE) - 22 - 46 - len(SIGNATURE)
    parts = ((0, 40), (header, header + 50), (directory, directory + 56), (last, len(WHOLE)))
    for place in (place for first, end in parts for place in range(first, end)):
        altered = bytearray(WHOLE)
        altered[place] ^= 1
        assert found(bytes(altered), folder), place


@settings(max_examples=150, deadline=None)
@given(st.integers(0, len(WHOLE) - 1), st.integers(1, 255))
def test_a_change_of_any_byte_is_found(folder, place, by):
    altered = bytearray(WHOLE)
    altered[place] ^= by
    assert found(bytes(altered), folder)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, len(WHOLE)), st.binary(min_size=1, max_size=3))
def test_bytes_put_in_anywhere_are_found(folder, place, more):
    assert found(WHOLE[:place] + more + WHOLE[place:], folder)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, len(WHOLE) - 1), st.integers(1, 300))
def test_bytes_taken_out_anywhere_are_found(folder, place, count):
    assert found(WHOLE[:place] + WHOLE[place + count :], folder)


def with_log(entries, change):
    return [
        change(name, text) if name == "logs/00001-log.csv" else (name, text)
        for name, text in entries
    ]


def missing(entries):
    return [one for one in entries if one[0] != "site.toml"]


def added(entries):
    return [("extra.txt", b"x"), *entries]


def altered(entries):
    return with_log(entries, lambda name, text: (name, text.replace(b"61.5", b"51.5", 1)))


def renamed(entries):
    return with_log(entries, lambda _name, text: ("logs/00009-log.csv", text))


def reordered(entries):
    return [entries[1], entries[0], *entries[2:]]


def doubled(entries):
    return [entries[0], *entries]


def swapped(entries):
    logs = {"logs/00001-log.csv": "logs/00002-log.csv", "logs/00002-log.csv": "logs/00001-log.csv"}
    return [(logs.get(name, name), text) for name, text in entries]


def without_list(entries):
    return [one for one in entries if one[0] != CHECKSUMS]


def only_zipped_again(entries):
    for name, text in entries:
        entry = zip_entry(name)
        entry.date_time = (2025, 1, 1, 0, 0, 0)
        yield entry, text


@pytest.mark.filterwarnings("ignore:Duplicate name")
@pytest.mark.parametrize(
    ("change", "words"),
    [
        (missing, "site.toml is missing"),
        (added, "extra.txt was added"),
        (altered, "logs/00001-log.csv was altered"),
        (renamed, "logs/00001-log.csv was renamed to logs/00009-log.csv"),
        (reordered, "another order"),
        (doubled, "README.txt is there 2 times"),
        (swapped, "logs/00001-log.csv was altered"),
        (without_list, "CHECKSUMS is missing, so nothing can be checked"),
        (only_zipped_again, "written in another way than bundles are"),
    ],
)  # fmt: skip
def test_what_was_done_to_a_bundle_is_said(tmp_path, change, words):
    assert words in " ".join(rewritten(tmp_path, change))


def forged(**fields) -> bytes:
    """Put a list and a signature together that fit each other, but are another's."""
    files = {**FILES, **fields}
    out = io.BytesIO()
    other = Ed25519PrivateKey.from_private_bytes(bytes(range(1, 33)))
    write_bundle(out, [text_member(*one) for one in files.items()], key=other, now=NOW)
    return out.getvalue()


def test_a_bundle_made_anew_with_another_key_is_only_told_by_the_key(tmp_path):
    content = forged(**{"site.toml": "schema = 1\n# better\n"})
    assert problems(content, tmp_path) == []  # it is whole, and says so with its own key
    assert problems(content, tmp_path, key=public_hex(KEY)) == [
        "it is signed, but not with the key that you gave"
    ]


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("../up.txt", "leads out of the folder"),
        ("logs/../../up.txt", "leads out of the folder"),
        ("/etc/x", "a place of its own"),
        ("C:/x", "a place of its own"),
        ("logs\\x", "a place of its own"),
        ("logs/", "or a folder"),
        ("a//b", "or a folder"),
        ("b\u0301.csv", "characters that no bundle uses"),
        ("a\x1b[2Jb", "characters that no bundle uses"),
        ("readme.TXT", "is there 2 times"),
    ],
)
def test_names_that_could_do_harm_are_refused_before_anything_is_unpacked(tmp_path, name, words):
    told = rewritten(tmp_path, lambda entries: [*entries, (name, b"x")])
    assert words in " ".join(told)
    assert not any("\x1b" in one or "\u0301" in one for one in told)


def test_a_link_is_refused(tmp_path):
    entry = zip_entry("logs/link.csv")
    entry.external_attr = 0o120777 << 16
    told = rewritten(tmp_path, lambda entries: [*entries, (entry, b"/etc/passwd")])
    assert "logs/link.csv: a link to another file" in told


def test_a_bomb_is_not_unpacked(tmp_path, monkeypatch):
    monkeypatch.setattr("service.evidence.verify._ALWAYS_ALLOWED", 100_000)
    told = rewritten(tmp_path, lambda entries: [*entries, ("bomb.csv", bytes(8_000_000))])
    assert "nothing was unpacked" in " ".join(told)


def test_files_that_lie_over_each_other_are_refused(tmp_path):
    """The directory names one file twice: much content out of few bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr(zip_entry("a.csv"), bytes(1000))
        again = zip_entry("b.csv")
        again.header_offset, again.CRC = 0, archive.filelist[0].CRC
        again.file_size, again.compress_size = 1000, archive.filelist[0].compress_size
        archive.filelist.append(again)
    assert "overlap" in " ".join(problems(out.getvalue(), tmp_path))


@pytest.mark.parametrize("content", [b"", b"no zip", WHOLE[:200], b"PK\5\6" + bytes(17)])
def test_what_is_no_zip_file_is_said(tmp_path, content):
    with pytest.raises(NotABundleError, match="no zip file"):
        problems(content, tmp_path)


def test_an_empty_zip_and_another_zip_are_no_bundles(tmp_path):
    out = io.BytesIO()
    zipfile.ZipFile(out, "w").close()
    assert "CHECKSUMS is missing" in " ".join(problems(out.getvalue(), tmp_path))


def test_a_missing_file_is_said(tmp_path):
    with pytest.raises(NotABundleError, match="No such file"):
        verify(tmp_path / "none.zip")
