"""Builders for tests of the service: an invented site, its logs, and a running back end.

Everything here is invented data; the sun's place is worked out with the short formula of Cooper
(1969) for the declination, good enough for a plausible log.
"""

import atexit
import io
import math
import os
import random
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Any

import psycopg
import pytest

from service.clock import FixedClock
from service.db.base import Base
from service.db.engine import Database
from service.settings import Settings

POSTGRES = os.environ.get(
    "SUNTALLY_TEST_POSTGRES", "postgresql+psycopg://postgres@127.0.0.1:5432/test"
)
LATITUDE, LONGITUDE = 48.0, 11.0
LOCAL = "http://127.0.0.1"
NOON = datetime(2025, 6, 20, 12, 0, tzinfo=UTC)

SITE_FILE = """schema = 1

[site]
name = "{name}"
latitude = 48.0
longitude = 11.0
elevation_m = 500
timezone = "Europe/Berlin"

[[array]]
collector = "heat_pipe"
tubes = 20
tilt_deg = 45
azimuth_deg = 180
area_m2 = 2.0
area_basis = "aperture"
eta0 = 0.72
a1_w_m2k = 1.4
a2_w_m2k2 = 0.006
heat_capacity_kj_m2k = 10.0
iam_diffuse = 0.92
iam_angles_deg = [0, 30, 60, 90]
iam_transversal = [1, 1.1, 1.2, 0]
iam_longitudinal = [1, 0.98, 0.85, 0]

[loop]
fluid = "propylene_glycol"
concentration = 0.4
flow_l_min = 2.0
pump_w = 40
kind = "filled"

[store]
volume_l = 300
limit_c = 80
"""


def site_file(name: str = "Mill Lane 4") -> str:
    """Give a site file."""
    return SITE_FILE.format(name=name)


def tidy_log(
    *,
    first: datetime = datetime(2025, 6, 1, tzinfo=UTC),
    hours: int = 72,
    step_s: int = 600,
    seed: int = 1,
    without: frozenset[str] = frozenset(),
) -> str:
    """Give an invented tidy log with its stamps at the end of each step."""
    noise = random.Random(seed)
    heads = [
        "t_collector_c",
        "t_loop_hot_c",
        "t_loop_cold_c",
        "t_store_bottom_c",
        "t_ambient_c",
        "g_plane_w_m2",
        "flow_l_min",
        "pump_percent",
    ]
    out = io.StringIO()
    heads = [head for head in heads if head not in without]
    out.write(",".join(["time", *heads]) + "\n")
    for number in range(1, hours * 3600 // step_s + 1):
        moment = first + timedelta(seconds=number * step_s)
        height = math.sin(sun_height(moment - timedelta(seconds=step_s / 2)))
        sun = max(0.0, 950.0 * height)
        on = sun > 250.0
        store = 35.0 + 15.0 * max(0.0, height)
        hot = store + (9.0 if on else 2.0)
        values = {
            "t_collector_c": (store + 11.0 if on else 15.0 + sun / 12) + noise.gauss(0, 0.2),
            "t_loop_hot_c": hot + noise.gauss(0, 0.1),
            "t_loop_cold_c": store + 1.0 + noise.gauss(0, 0.1),
            "t_store_bottom_c": store + noise.gauss(0, 0.1),
            "t_ambient_c": 18.0 + 6.0 * height + noise.gauss(0, 0.1),
            "g_plane_w_m2": sun + abs(noise.gauss(0, 3.0)),
            "flow_l_min": 2.0 + noise.gauss(0, 0.01) if on else 0.0,
            "pump_percent": 100.0 if on else 0.0,
        }
        cells = [f"{values[head]:.3f}" for head in heads]
        out.write(f"{moment:%Y-%m-%dT%H:%M:%SZ},{','.join(cells)}\n")
    return out.getvalue()


def sun_height(moment: datetime) -> float:
    """Give the sun's height [rad]."""
    day = moment.timetuple().tm_yday
    tilt = math.radians(23.45) * math.sin(2 * math.pi * (284 + day) / 365)
    hour = moment.hour + moment.minute / 60 + LONGITUDE / 15 - 12
    lat = math.radians(LATITUDE)
    return math.asin(
        math.sin(lat) * math.sin(tilt)
        + math.cos(lat) * math.cos(tilt) * math.cos(math.radians(15 * hour))
    )


@dataclass(frozen=True)
class BackEnd:
    """A set-up back end without any process."""

    settings: Settings
    database: Database
    clock: FixedClock
    firm_id: int

    def worker(self):
        from service.jobs.run import Worker

        return Worker(settings=self.settings, database=self.database, clock=self.clock)

    def app(self):
        from service.app import create_app

        return create_app(self.settings, self.database, self.clock)

    def add_site(self, name: str = "Mill Lane 4", text: str | None = None) -> str:
        from service.sites.actions import register_site

        with self.database.session() as db:
            return register_site(
                db, firm_id=self.firm_id, text=text or site_file(name), now=self.clock.now()
            ).slug

    def site_id(self, slug: str) -> int:
        from service.sites.queries import site_by_slug

        with self.database.reading() as db:
            site = site_by_slug(db, firm_id=self.firm_id, slug=slug)
            assert site is not None
            return site.id

    def add_key(self, slug: str) -> str:
        from service.db.models import Site
        from service.sites.actions import make_key

        with self.database.session() as db:
            site = db.get(Site, self.site_id(slug))
            assert site is not None
            return make_key(db, site=site, label="gateway", now=self.clock.now())[1]

    def hand_in(self, slug: str, text: str | bytes, name: str = "log.csv") -> int:
        """Keep an upload as the endpoint does, without HTTP; gives its number."""
        from service.db.models import Site
        from service.ingest.actions import keep_upload
        from service.ingest.files import RawStore

        data = text.encode() if isinstance(text, str) else text
        kept = RawStore(self.settings.data_dir).keep([data])
        with self.database.session() as db:
            site = db.get(Site, self.site_id(slug))
            assert site is not None
            return keep_upload(
                db, site=site, kept=kept, name=name, via="api", now=self.clock.now()
            ).id


def back_end(folder: Path, url: str | None = None, **given: object) -> BackEnd:
    """Set a back end up in a folder, or over a migrated database."""
    from service.accounts.actions import ensure_firm

    settings = Settings(data_dir=folder / "data", database_url=url, **given)
    path = settings.data_dir / "suntally.db"
    if url is None and not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(_migrated_sqlite())
    database = _with_known_statements(Database(settings.url))
    clock = FixedClock(NOON)
    with database.session() as db:
        firm_id = ensure_firm(db, now=clock.now()).id
    return BackEnd(settings=settings, database=database, clock=clock, firm_id=firm_id)


class _Statements(dict[Any, Any]):
    """Compiled statements by kind of database; SQLAlchemy would have them by engine as well."""

    def get(self, key: Any, default: Any = None) -> Any:
        return super().get((key[0].name, *key[1:]), default)

    def __setitem__(self, key: Any, value: Any) -> None:
        super().__setitem__((key[0].name, *key[1:]), value)


_STATEMENTS = _Statements()


def _with_known_statements(database: Database) -> Database:
    """Have what another test's engine compiled known here: each test has an engine of its own."""
    for engine in (database.engine, database._reading):
        engine.update_execution_options(compiled_cache=_STATEMENTS)
    return database


@contextmanager
def empty_database(kind: str) -> Iterator[str | None]:
    """Give the URL of an empty database of its own; None stands for SQLite in the data folder."""
    if kind == "sqlite":
        yield None
        return
    url = _create_postgres()
    try:
        yield url
    finally:
        _drop_postgres(url)


def _create_postgres() -> str:
    from sqlalchemy import create_engine, text
    from sqlalchemy.engine import make_url
    from sqlalchemy.exc import OperationalError

    admin = create_engine(POSTGRES, isolation_level="AUTOCOMMIT")
    name = f"suntally_{os.getpid()}_{random.SystemRandom().randrange(10**9)}"
    try:
        with admin.connect() as connection:
            connection.execute(text(f"CREATE DATABASE {name}"))
    except OperationalError:
        pytest.skip(f"no PostgreSQL server at {make_url(POSTGRES).host}: only SQLite was tested")
    finally:
        admin.dispose()
    return make_url(POSTGRES).set(database=name).render_as_string(hide_password=False)


def _drop_postgres(url: str) -> None:
    from sqlalchemy import create_engine, text
    from sqlalchemy.engine import make_url

    admin = create_engine(POSTGRES, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.execute(text(f"DROP DATABASE {make_url(url).database} WITH (FORCE)"))
    admin.dispose()


@lru_cache(maxsize=1)
def _shared_postgres() -> str:
    """Give this process's migrated PostgreSQL database; it is dropped when the process ends."""
    url = _create_postgres()
    owner = os.getpid()
    # A forked child that ends must not take it along.
    atexit.register(lambda: _drop_postgres(url) if os.getpid() == owner else None)
    database = Database(url)
    database.migrate()
    database.close()
    _without_waiting(url)
    return url


def _without_waiting(url: str) -> None:
    """Let commits return before the disk has them: no test cuts the server's power."""
    from sqlalchemy import create_engine, text
    from sqlalchemy.engine import make_url

    admin = create_engine(POSTGRES, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        name = make_url(url).database
        connection.execute(text(f"ALTER DATABASE {name} SET synchronous_commit TO off"))
    admin.dispose()


@lru_cache(maxsize=1)
def _migrated_sqlite() -> bytes:
    """Give the bytes of a migrated SQLite database; migrations run once in a process."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "suntally.db"
        database = Database(f"sqlite:///{path}")
        database.migrate()
        database.close()
        return path.read_bytes()


def _empty_tables(url: str) -> None:
    """Take all rows out, in one go to the server; TRUNCATE would make new files for every table."""
    emptied = [f'DELETE FROM "{table}"' for table in reversed(Base.metadata.sorted_tables)]
    counted_anew = (
        "SELECT setval(format('%I.%I', schemaname, sequencename)::regclass, 1, false) "
        "FROM pg_sequences WHERE last_value IS NOT NULL"
    )
    with psycopg.connect(url.replace("+psycopg", "", 1)) as connection:
        connection.execute("; ".join([*emptied, counted_anew]))


Maker = Callable[..., BackEnd]


@contextmanager
def back_ends(folder: Path, kind: str = "sqlite") -> Iterator[Maker]:
    """Give a maker of back ends over one database, and close them all at the end."""
    made: list[BackEnd] = []
    url = None
    if kind != "sqlite":
        url = _shared_postgres()
        _empty_tables(url)

    def make(**given: object) -> BackEnd:
        made.append(back_end(folder, url, **given))
        return made[-1]

    try:
        yield make
    finally:
        for one in made:
            one.database.close()
