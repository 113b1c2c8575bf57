"""Raw files: kept whole under their hash, or not at all."""

import hashlib
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.ingest.files import RawStore


def test_bytes_come_back_under_their_hash(tmp_path: Path) -> None:
    store = RawStore(tmp_path)
    kept = store.keep([b"time,", b"flow_l_min\n"])
    assert kept.sha256 == hashlib.sha256(b"time,flow_l_min\n").hexdigest()
    assert kept.size_bytes == 16
    assert store.read(kept.sha256) == b"time,flow_l_min\n"
    assert store.keep([b"time,flow_l_min\n"]) == kept


def test_a_broken_off_body_leaves_nothing(tmp_path: Path) -> None:
    def broken() -> Iterator[bytes]:
        yield b"time,"
        raise ConnectionError

    store = RawStore(tmp_path)
    with pytest.raises(ConnectionError):
        store.keep(broken())
    assert [path for path in store.folder.rglob("*") if path.is_file()] == []


def test_what_nobody_refers_to_can_be_dropped(tmp_path: Path) -> None:
    store = RawStore(tmp_path)
    kept = store.keep([b"x"])
    store.drop(kept.sha256)
    store.drop(kept.sha256)
    assert not store.path(kept.sha256).exists()
