"""All SQL about backups: one unchanging moment of a database as a SQLite file, and back."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

from sqlalchemy import (
    JSON,
    Connection,
    Table,
    Text,
    bindparam,
    cast,
    func,
    inspect,
    literal_column,
    select,
    text,
    type_coerce,
)
from sqlalchemy.orm import Session

import service.db.models  # noqa: F401 - fills the metadata
from service.db.base import Base
from service.db.engine import Database
from service.db.models import Upload, VisitPhoto, WeatherFile

_AT_ONCE = 200
_GONE = Upload.bytes_gone_at.key


def snapshot_sqlite(database: Database, path: Path) -> None:
    """Copy a SQLite database, while others write, into a file of its own.

    One step copies all pages, so that it is one moment; readers and writers do not notice.
    """
    source = database.engine.raw_connection()
    try:
        with closing(sqlite3.connect(path)) as target:
            assert isinstance(source.driver_connection, sqlite3.Connection)
            source.driver_connection.backup(target, pages=-1)
            target.execute("PRAGMA journal_mode = DELETE")
    finally:
        source.close()


def copy_all(source: Session, target: Session) -> None:
    """Copy every row of every table into empty tables of another database, whatever its kind.

    JSON goes over as the text that it is, so that nothing about it changes.
    """
    for table in Base.metadata.sorted_tables:
        for rows in _rows(source.connection(), table):
            _put(target.connection(), table, rows)
    if target.get_bind().dialect.name == "postgresql":
        _set_counters(target.connection())


def _rows(connection: Connection, table: Table) -> Iterator[list[dict[str, Any]]]:
    as_text = cast if connection.dialect.name == "postgresql" else type_coerce
    columns = [
        as_text(one, Text).label(one.name) if isinstance(one.type, JSON) else one
        for one in table.columns
    ]
    found = connection.execution_options(yield_per=_AT_ONCE).execute(select(*columns))
    for part in found.mappings().partitions():
        yield [dict(row) for row in part]


def _put(connection: Connection, table: Table, rows: list[dict[str, Any]]) -> None:
    values: dict[str, Any] = {}
    for one in table.columns:
        if isinstance(one.type, JSON):
            given = bindparam(one.name, type_=Text())
            values[one.name] = (
                cast(given, JSON) if connection.dialect.name == "postgresql" else given
            )
        else:
            values[one.name] = bindparam(one.name, type_=one.type)
    connection.execute(table.insert().values(values), rows)


def _set_counters(connection: Connection) -> None:
    """Have PostgreSQL count on after the highest number of each table."""
    for table in Base.metadata.sorted_tables:
        for column in table.primary_key.columns:
            named = connection.scalar(select(func.pg_get_serial_sequence(table.name, column.name)))
            if named is not None:
                highest = connection.scalar(select(func.max(column)))
                connection.execute(
                    select(
                        func.setval(text("CAST(:name AS regclass)"), highest or 1, bool(highest))
                    ),
                    {"name": named},
                )


def is_used(db: Session) -> bool:
    """Tell whether any table of the service holds a row."""
    there = set(inspect(db.connection()).get_table_names())
    return any(
        db.execute(select(1).select_from(table).limit(1)).first() is not None
        for table in Base.metadata.sorted_tables
        if table.name in there
    )


def revision(db: Session) -> str | None:
    """Give the state that the tables are in; None where there are none."""
    if "alembic_version" not in inspect(db.connection()).get_table_names():
        return None
    found = db.scalar(text("SELECT version_num FROM alembic_version"))
    return None if found is None else str(found)


def raw_hashes(db: Session) -> list[str]:
    """Give the raw files that something refers to."""
    found: set[str] = set()
    looked = inspect(db.connection())
    there = set(looked.get_table_names())
    for column in (Upload.sha256, WeatherFile.sha256, VisitPhoto.sha256):
        table = column.class_.__tablename__
        if table not in there:
            continue
        wanted = select(column).distinct()
        # Older tables, of a backup, know of no file whose bytes were removed.
        if _GONE in {one["name"] for one in looked.get_columns(table)}:
            wanted = wanted.where(literal_column(_GONE).is_(None))
        found.update(one for one in db.scalars(wanted) if one)
    return sorted(found)
