"""The engine and its sessions; the only place that knows which database runs."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic_core import from_json, to_json
from sqlalchemy import Connection, create_engine, event, func, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine import URL, Engine, make_url
from sqlalchemy.orm import Session

if TYPE_CHECKING:
    from alembic.config import Config

# A writer waits this long for another before it gives up [ms].
_BUSY_MS = 30_000
# Whoever empties the log waits so long for readers [ms]; what is left then is emptied later.
_PATIENCE_MS = 2_000
# As its driver names it.
_BINARY = 1
_MIGRATION_LOCK = 7_205_541
# What one writer at a time may do (`one_at_a_time`).
BYTES_LOCK = 7_205_542
VALUES_LOCK = 7_205_543
WHOLE_DAYS_LOCK = 7_205_544


class Database:
    """A database that is reached by its URL.

    `session()` is for writing and holds SQLite's write lock from its first statement, so that
    what it read is still true when it writes. `reading()` sees one unchanging moment.
    Both commit at their end, and roll back when something is raised.
    """

    def __init__(self, url: str) -> None:
        self.url: URL = make_url(url)
        self.engine: Engine = _engine(self.url)
        options: dict[str, Any] = {"reading": True}
        if not self.is_sqlite:
            options["isolation_level"] = "REPEATABLE READ"
        self._reading = self.engine.execution_options(**options)

    @property
    def is_sqlite(self) -> bool:
        """Whether this is SQLite."""
        return self.url.get_backend_name() == "sqlite"

    @contextmanager
    def session(self) -> Iterator[Session]:
        """Open a transaction for writing; commit at its end."""
        with Session(self.engine, expire_on_commit=False) as db, db.begin():
            yield db

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Open a transaction that only reads."""
        with Session(self._reading, expire_on_commit=False) as db, db.begin():
            yield db

    def migrate(self) -> None:
        """Bring the tables to the state that this version needs."""
        from alembic import command

        config = _migrations()
        with self.engine.begin() as connection:
            if not self.is_sqlite:
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_MIGRATION_LOCK})")
            config.attributes["connection"] = connection
            command.upgrade(config, "head")

    def empty_log(self) -> None:
        """Bring what was committed into SQLite's file and empty its log, as far as nobody reads."""
        if not self.is_sqlite:
            return
        connection = self.engine.raw_connection()
        try:
            cursor = connection.cursor()
            cursor.execute(f"PRAGMA busy_timeout = {_PATIENCE_MS}")
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            cursor.execute(f"PRAGMA busy_timeout = {_BUSY_MS}")
        finally:
            connection.close()

    def close(self) -> None:
        """Close all connections."""
        self.engine.dispose()


def newest_revision() -> str:
    """Give the state of the tables that this version needs."""
    from alembic.script import ScriptDirectory

    head = ScriptDirectory.from_config(_migrations()).get_current_head()
    assert head is not None
    return head


def _migrations() -> "Config":
    from alembic.config import Config

    config = Config()
    config.set_main_option(
        "script_location", str(Path(__file__).resolve().parent.parent / "migrations")
    )
    return config


def only_reads(db: Session) -> bool:
    """Tell whether a session is one of `Database.reading`."""
    return bool(db.get_bind().get_execution_options().get("reading", False))


def one_at_a_time(db: Session, lock: int) -> None:
    """Wait until no other transaction has this lock, and have it until this one ends.

    What is read afterwards is what others committed. On SQLite every writer is alone already.
    """
    if dialect_of(db) != "sqlite":
        db.execute(select(func.pg_advisory_xact_lock(lock)))


def shared(db: Session, lock: int) -> None:
    """Have this lock together with others that share it, but with nobody who has it alone."""
    if dialect_of(db) != "sqlite":
        db.execute(select(func.pg_advisory_xact_lock_shared(lock)))


def overwrite_freed(db: Session) -> None:
    """Have what this connection deletes overwritten, where the database would leave it in place.

    SQLite leaves deleted bytes in its file until it needs the room; PostgreSQL until its vacuum.
    """
    if dialect_of(db) == "sqlite":
        db.connection().exec_driver_sql("PRAGMA secure_delete = ON")


def insert_into(db: Session, model: type) -> Any:
    """Give an INSERT that can say what to do about rows that are there already."""
    return insert_for(dialect_of(db), model)


def insert_for(dialect: str, model: type) -> Any:
    """Give that INSERT for a kind of database, to be kept and used again."""
    return sqlite.insert(model) if dialect == "sqlite" else postgresql.insert(model)


def dialect_of(db: Session) -> str:
    """Name the kind of database: `sqlite` or `postgresql`."""
    return db.get_bind().dialect.name


def read_json(text: str | bytes) -> Any:
    """Read JSON, fast: a site's table of days is read anew with each report."""
    try:
        return from_json(text)
    except ValueError:  # half of a pair of surrogates, which the standard parser takes
        return json.loads(text)


def _engine(url: URL) -> Engine:
    shared: dict[str, Any] = {
        "pool_size": 10,
        "max_overflow": 30,
        "json_serializer": _written,
        "json_deserializer": read_json,
    }
    if url.get_backend_name() != "sqlite":
        engine = create_engine(url, pool_pre_ping=True, **shared)
        event.listen(engine, "before_cursor_execute", _fetch)
        return engine
    if url.database and url.database != ":memory:":
        Path(url.database).parent.mkdir(parents=True, exist_ok=True)
    engine = create_engine(url, **shared)
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def _written(value: Any) -> str:
    """Write JSON, fast: a report has some thousands of numbers."""
    try:
        return to_json(value).decode()
    except ValueError:  # half of a pair of surrogates, which the standard writer takes
        return json.dumps(value)


def _fetch(
    _connection: object, cursor: Any, _text: str, _values: object, context: Any, _many: bool
) -> None:
    # PostgreSQL sends bytes as digits unless it is told; what has many says `as_stored`.
    if context.execution_options.get("as_stored", False):
        cursor.format = _BINARY


def _prepare(connection: Any, _record: object) -> None:
    # The driver's own transaction handling starts none before SELECT or DDL; `_begin` does.
    connection.isolation_level = None
    cursor = connection.cursor()
    for pragma in (
        f"busy_timeout = {_BUSY_MS}",
        "journal_mode = WAL",
        "synchronous = FULL",
        "foreign_keys = ON",
    ):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin(connection: Connection) -> None:
    reading = connection.get_execution_options().get("reading", False)
    connection.exec_driver_sql("BEGIN" if reading else "BEGIN IMMEDIATE")
