"""Tables, column types and migrations, on both databases."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import inspect, text, update

from analysis.blocks import Block
from analysis.day_rows import day_rows
from analysis.days import DayTable, local_days
from fixtures.scenario import home, site_toml
from service.assessments.queries import save_day_rows
from service.db.base import Base
from service.db.engine import Database
from service.db.models import DayRow, Firm
from service.ingest.blocks import Sealed, seal
from service.ingest.queries import save_blocks
from service.sites.actions import register_site
from tests.build_service import empty_database

DAY = date(2025, 6, 1)


@pytest.fixture(params=["sqlite", "postgres"])
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    with empty_database(request.param) as url:
        database = Database(url or f"sqlite:///{tmp_path / 'a.db'}")
        yield database
        database.close()


def test_migrated_tables_are_those_of_the_models(database: Database) -> None:
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    database.migrate()
    database.migrate()
    with database.engine.begin() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []


def taken_back(database: Database, to: str) -> None:
    from alembic import command
    from alembic.config import Config

    import service.migrations

    config = Config()
    config.set_main_option("script_location", str(Path(service.migrations.__file__).parent))
    with database.engine.begin() as connection:
        config.attributes["connection"] = connection
        command.downgrade(config, to)


def test_migrations_can_be_taken_back(database: Database) -> None:
    database.migrate()
    taken_back(database, "base")
    assert set(inspect(database.engine).get_table_names()) == {"alembic_version"}


def with_site(database: Database) -> int:
    noon = datetime(2025, 6, 1, 12, tzinfo=UTC)
    with database.session() as db:
        firm = Firm(name="a", created_at=noon)
        db.add(firm)
        db.flush()
        return register_site(db, firm_id=firm.id, text=site_toml(home()), now=noon).id


def test_days_that_an_older_version_could_not_read_are_not_left_to_it(database: Database) -> None:
    """Right after an upgrade all days are looked at anew, though their blocks are the old ones."""
    database.migrate()
    table = DayTable(
        days=local_days(first=DAY, last=DAY, timezone="UTC"),
        columns={"known_s": np.ones(1)},
        happenings=(),
    )
    site_id = with_site(database)
    with database.session() as db:
        save_day_rows(db, site_id=site_id, rows=day_rows(table), instead_of=[], method="any")
    with pytest.raises(RuntimeError, match="restore a backup"):
        taken_back(database, "0018")
    with database.session() as db:  # as older versions wrote it
        older = {"date": "", "columns": {}, "happenings": []}
        db.execute(update(DayRow).values(row=older, numbers=None))
    taken_back(database, "0018")


def test_blocks_that_an_older_version_could_not_read_are_not_left_to_it(
    database: Database,
) -> None:
    database.migrate()
    block = Block(stamp_s=np.arange(3, dtype=np.int64), columns={"flow": np.arange(3.0)})
    site_id = with_site(database)
    with database.session() as db:
        save_blocks(db, site_id=site_id, blocks={DAY: seal(block)})
    with pytest.raises(RuntimeError, match="restore a backup"):
        taken_back(database, "0018")


@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_no_server_tries_to_pack_what_is_packed(database: Database) -> None:
    """It would find nothing, and takes as long as storing takes; zeros show whether it tries."""
    database.migrate()
    site_id = with_site(database)
    size = 100_000
    zeros = Sealed(rows=1, data=bytes(size), values_hash=None)

    def room() -> int:
        with database.session() as db:
            save_blocks(db, site_id=site_id, blocks={DAY: zeros})
        with database.reading() as db:
            return int(db.execute(text("SELECT pg_column_size(data) FROM day_block")).scalar_one())

    assert room() >= size
    taken_back(database, "0021")
    assert room() < size / 10


@pytest.mark.parametrize("database", ["postgres"], indirect=True)
def test_rows_of_days_are_packed_the_quicker_way_where_a_server_has_it(database: Database) -> None:
    database.migrate()

    def asked(words: str) -> list[str]:
        with database.reading() as db:
            return list(db.scalars(text(words)))

    has_it = "lz4" in asked(
        "SELECT unnest(enumvals) FROM pg_settings WHERE name = 'default_toast_compression'"
    )
    ways = (
        "SELECT attcompression::text FROM pg_attribute"
        " WHERE attrelid = 'day_row'::regclass AND attname IN ('row', 'numbers')"
    )
    assert asked(ways) == ["l" if has_it else ""] * 2
    taken_back(database, "0021")
    assert asked(ways) == [""] * 2


def test_an_instant_keeps_its_meaning(database: Database) -> None:
    database.migrate()
    noon = datetime(2025, 6, 1, 12, 0, tzinfo=timezone(timedelta(hours=2)))
    with database.session() as db:
        db.add(Firm(name="a", created_at=noon))
    with database.reading() as db:
        (firm,) = db.query(Firm).all()
        assert firm.created_at == noon
        assert firm.created_at.tzinfo is UTC


def test_a_naive_instant_is_refused(database: Database) -> None:
    database.migrate()
    with pytest.raises(Exception, match="has no zone"), database.session() as db:
        db.add(Firm(name="a", created_at=datetime(2025, 6, 1)))  # noqa: DTZ001


def test_an_error_rolls_everything_back(database: Database) -> None:
    database.migrate()

    def fail_late() -> None:
        with database.session() as db:
            db.add(Firm(name="a", created_at=datetime(2025, 6, 1, tzinfo=UTC)))
            db.flush()
            raise KeyError

    with pytest.raises(KeyError):
        fail_late()
    with database.reading() as db:
        assert db.query(Firm).count() == 0


def test_sqlite_is_set_for_durability(tmp_path: Path) -> None:
    database = Database(f"sqlite:///{tmp_path / 'a.db'}")
    with database.reading() as db:
        pragma = {
            name: db.execute(text(f"PRAGMA {name}")).scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys")
        }
    database.close()
    assert pragma == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}
