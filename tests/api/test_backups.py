"""A backup holds one moment of everything, and comes back byte for byte, into either database."""

import json
import stat
import threading
import zipfile
from pathlib import Path

import pytest

from service.backups import queries
from service.backups.form import MANIFEST, BackupError
from service.backups.make import last_backup, make_backup
from service.backups.restore import restore_backup
from service.cli import main
from service.db.base import Base
from service.db.engine import Database
from service.ingest.files import RawStore
from service.settings import Settings
from tests.build_service import BackEnd, back_end, back_ends, empty_database, tidy_log


@pytest.fixture
def back(tmp_path: Path):
    with back_ends(tmp_path / "from") as make:
        yield make()


def filled(back: BackEnd) -> str:
    slug = back.add_site()
    back.hand_in(slug, tidy_log(hours=24))
    back.hand_in(slug, b"nothing that is a log", "broken.csv")
    return slug


def rows(database: Database) -> dict[str, list[str]]:
    """Give every row of every table, JSON as the text that is stored."""
    with database.reading() as db:
        return {
            table.name: sorted(
                repr(sorted(row.items()))
                for part in queries._rows(db.connection(), table)
                for row in part
            )
            for table in Base.metadata.sorted_tables
        }


def raw_files(data_dir: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in data_dir.glob("uploads/??/*")}


def backed_up(back: BackEnd, path: Path):
    raw = RawStore(back.settings.data_dir)
    return make_backup(back.database, raw=raw, path=path, now=back.clock.now())


@pytest.mark.parametrize(
    ("out_of", "into"),
    [("sqlite", "sqlite"), ("sqlite", "postgresql"), ("postgresql", "sqlite")],
)
def test_what_comes_back_is_what_was_there(tmp_path: Path, out_of: str, into: str) -> None:
    with back_ends(tmp_path / "from", out_of) as make, empty_database(into) as url:
        back = make()
        slug = filled(back)
        while back.worker().work_once() and len(rows(back.database)["day_block"]) < 1:
            pass
        backed_up(back, tmp_path / "one.backup")
        settings = Settings(data_dir=tmp_path / "to", database_url=url)
        restore_backup(tmp_path / "one.backup", settings=settings)

        restored = Database(settings.url)
        assert rows(restored) == rows(back.database)
        assert len(rows(restored)["day_block"]) >= 1
        assert raw_files(settings.data_dir) == raw_files(back.settings.data_dir)
        assert len(raw_files(settings.data_dir)) == 2
        restored.close()
        # It works on: numbers are counted on from where they were.
        again = back_end(tmp_path / "other", url) if url else None
        if again is not None:
            assert again.hand_in(slug, tidy_log(hours=24, seed=2)) == 3
            again.database.close()


def test_a_backup_under_uploads_is_of_one_moment(tmp_path: Path, back: BackEnd) -> None:
    slug = back.add_site()
    back.hand_in(slug, b"first")
    answered: list[int] = []
    stop = threading.Event()

    def upload() -> None:
        number = 0
        while not stop.is_set():
            number += 1
            answered.append(back.hand_in(slug, f"log {number}"))

    threads = [threading.Thread(target=upload, daemon=True)]
    for one in threads:
        one.start()
    try:
        for number in range(3):
            before = list(answered)
            backed_up(back, tmp_path / f"{number}.backup")
            settings = Settings(data_dir=tmp_path / f"to-{number}")
            restore_backup(tmp_path / f"{number}.backup", settings=settings)
            restored = Database(settings.url)
            with restored.reading() as db:
                hashes = queries.raw_hashes(db)
            stored = rows(restored)["upload"]
            restored.close()
            # Whoever had an answer before it began is in it, and every note has its bytes.
            assert len(stored) >= len(before) + 1
            assert set(raw_files(settings.data_dir)) == set(hashes)
            assert len(hashes) == len(stored)
    finally:
        stop.set()
        for one in threads:
            one.join()
    assert len(answered) > 3


def test_a_file_that_a_purge_removes_meanwhile_is_in_neither_part(
    tmp_path: Path, back: BackEnd, monkeypatch: pytest.MonkeyPatch
) -> None:
    slug = back.add_site()
    gone = back.hand_in(slug, b"will be forgotten")
    back.hand_in(slug, b"stays")
    taken = queries.snapshot_sqlite

    def then_purged(database: Database, path: Path) -> None:
        from service.db.models import Upload

        taken(database, path)
        with back.database.session() as db:
            upload = db.get(Upload, gone)
            if upload is not None:
                RawStore(back.settings.data_dir).drop(upload.sha256)
                db.delete(upload)

    monkeypatch.setattr(queries, "snapshot_sqlite", then_purged)
    manifest = backed_up(back, tmp_path / "one.backup")
    assert manifest.lacking == []
    assert len(manifest.files) == 2
    settings = Settings(data_dir=tmp_path / "to")
    restore_backup(tmp_path / "one.backup", settings=settings)
    restored = Database(settings.url)
    assert len(rows(restored)["upload"]) == 1
    restored.close()


def test_a_lost_raw_file_is_told_and_the_rest_is_kept(
    tmp_path: Path, back: BackEnd, capsys: pytest.CaptureFixture[str]
) -> None:
    filled(back)
    next(back.settings.data_dir.glob("uploads/??/*")).unlink()
    arguments = ["backup", str(tmp_path), "--data-dir", str(back.settings.data_dir)]
    assert main(arguments) == 1
    said = capsys.readouterr()
    assert "1 raw files were lost or damaged before" in said.err
    assert last_backup(back.settings.data_dir) is not None
    (path,) = tmp_path.glob("suntally-*.backup")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert restore_backup(path, settings=Settings(data_dir=tmp_path / "to")).lacking


def test_nothing_is_overwritten(tmp_path: Path, back: BackEnd, capsys) -> None:
    path = tmp_path / "one.backup"
    filled(back)
    backed_up(back, path)
    held = rows(back.database)
    for arguments, said in (
        (["backup", str(path)], "there is a file"),
        (["restore", str(path)], "holds a service already"),
    ):
        assert main([*arguments, "--data-dir", str(back.settings.data_dir)]) == 2
        assert said in capsys.readouterr().err
    assert rows(back.database) == held


def test_a_used_postgresql_is_not_overwritten(tmp_path: Path, back: BackEnd) -> None:
    backed_up(back, tmp_path / "one.backup")
    with back_ends(tmp_path / "other", "postgresql") as make:
        used = make()
        with pytest.raises(BackupError, match="holds a service already"):
            restore_backup(tmp_path / "one.backup", settings=used.settings)


def damaged(path: Path, *, how: str) -> Path:
    other = path.with_name(f"{how}.backup")
    if how in ("cut", "flipped"):
        data = bytearray(path.read_bytes())
        if how == "cut":
            del data[len(data) // 2 :]
        else:
            data[len(data) // 3] ^= 4
        other.write_bytes(data)
        return other
    with zipfile.ZipFile(path) as given, zipfile.ZipFile(other, "w") as out:
        for name in given.namelist():
            data = given.read(name)
            if how == "swapped" and name.startswith("uploads/"):
                data += b"!"
            if how == "newer" and name == MANIFEST:
                data = json.dumps(json.loads(data) | {"form": 2}).encode()
            if how != "missing" or not name.startswith("uploads/"):
                out.writestr(name, data)
    return other


@pytest.mark.parametrize("how", ["cut", "flipped", "swapped", "newer", "missing"])
def test_what_is_damaged_is_refused_and_leaves_no_service(
    tmp_path: Path, back: BackEnd, how: str
) -> None:
    filled(back)
    backed_up(back, tmp_path / "one.backup")
    settings = Settings(data_dir=tmp_path / "to")
    with pytest.raises(BackupError, match=r"damaged|newer"):
        restore_backup(damaged(tmp_path / "one.backup", how=how), settings=settings)
    assert not (settings.data_dir / "suntally.db").exists()
    restore_backup(tmp_path / "one.backup", settings=settings)


def test_a_backup_of_older_tables_is_brought_up_to_date(tmp_path: Path) -> None:
    from alembic import command
    from alembic.config import Config

    import service.migrations

    folder = tmp_path / "old"
    folder.mkdir()
    database = Database(f"sqlite:///{folder / 'suntally.db'}")
    config = Config()
    config.set_main_option("script_location", str(Path(service.migrations.__file__).parent))
    with database.engine.begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "0004")
    moment = back_end(tmp_path / "clock").clock.now()
    manifest = make_backup(database, raw=RawStore(folder), path=tmp_path / "old.backup", now=moment)
    database.close()
    assert manifest.revision == "0004"
    settings = Settings(data_dir=tmp_path / "to")
    restore_backup(tmp_path / "old.backup", settings=settings)
    restored = Database(settings.url)
    with restored.reading() as db:
        assert queries.revision(db) not in (None, "0004")
    restored.close()
