"""`suntally demo`: an invented fleet, made, loaded and looked at as a user's would be, then served.

The years end on the day before the first start. The logs go the way of every upload; two
processes make them while this one reads, stores and analyses what is ready. The data folder keeps
everything, so a second start serves at once.
"""

import argparse
import shutil
import socket
import sys
import threading
import time
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Self

from service.progress import Progress

if TYPE_CHECKING:
    from fixtures.fleet import DemoFiles
    from service.clock import Clock
    from service.db.engine import Database
    from service.settings import Settings

DEFAULT_FOLDER = Path("suntally-data") / "demo"
_STARTED = "demo:started:"
_READY = "demo:ready"
_PORTS_TRIED = 20


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "--data-dir", default=str(DEFAULT_FOLDER), help=f"data folder (default {DEFAULT_FOLDER})"
    )
    parser.add_argument("--port", type=int, help="port to listen on (default 8321)")
    parser.add_argument("--no-serve", action="store_true", help="make and load the fleet only")
    parser.add_argument("--fresh", action="store_true", help="throw an earlier demo away first")


def run(args: argparse.Namespace) -> int:
    """Make the demo where there is none, then serve it; give the exit status."""
    from service.serve import StartError

    try:
        return _run(args)
    except (StartError, OSError) as error:
        sys.stderr.write(f"suntally demo: {error}\n")
        return 2


def _run(args: argparse.Namespace) -> int:
    from service.clock import SystemClock
    from service.serve import only_server, open_database, serve_with

    began = time.monotonic()
    settings = _settings(args)
    clock = SystemClock()
    if args.fresh:
        _throw_away(settings)
    database = open_database(settings, clock)
    made_for = _last_day(database, settings, clock)
    if not _is_ready(database):
        _make(settings, database, clock, last_day=made_for)
        _say(f"The fleet is ready after {time.monotonic() - began:.0f} s.")
    if args.no_serve:
        database.close()
        return 0
    _say(
        f"This fleet is invented; its year ends on {made_for.isoformat()}. Stop it with Ctrl+C; "
        "start it again at any time, or with --fresh for a year that ends yesterday."
    )
    with only_server(settings):
        return serve_with(settings, database, clock)


def _say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def _settings(args: argparse.Namespace) -> "Settings":
    """Give settings that keep the demo on this machine and away from any real database."""
    from service.serve import settings_from

    settings = settings_from(args)
    here = {
        "database_url": None,
        "host": "127.0.0.1",
        "base_url": None,
        "smtp_host": None,
        "outbox_dir": None,
        # The invented year ends where it ends; growing older is no finding.
        "refresh_hours": 24.0 * 36500,
    }
    if args.port is None:
        here["port"] = _free_port(settings.port)
    return settings.model_copy(update=here)


def _free_port(wanted: int) -> int:
    """Give the wanted port, or the next free one where somebody has it."""
    for port in range(wanted, wanted + _PORTS_TRIED):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
    return wanted


def _throw_away(settings: "Settings") -> None:
    """Remove an earlier demo's folder; anything else is left alone."""
    from service.db.engine import Database
    from service.serve import StartError

    if not settings.data_dir.exists():
        return
    file = settings.data_dir / "suntally.db"
    if file.exists():
        database = Database(settings.url)
        database.migrate()
        ours = _started(database) is not None
        database.close()
    else:
        ours = not any(settings.data_dir.iterdir())
    if not ours:
        raise StartError(
            f"{settings.data_dir} holds no demo, so nothing was thrown away; choose another "
            "folder with --data-dir"
        )
    shutil.rmtree(settings.data_dir)


def _started(database: "Database") -> date | None:
    """Give the last day of the invented year that this folder was begun with."""
    from service.jobs import claims

    with database.reading() as db:
        keys = claims.done_keys(db, prefix=_STARTED)
    return date.fromisoformat(keys[0].removeprefix(_STARTED)) if keys else None


def _is_ready(database: "Database") -> bool:
    from service.jobs import claims

    with database.reading() as db:
        return claims.done_keys(db, prefix=_READY) == [_READY]


def _mark(database: "Database", key: str, clock: "Clock") -> None:
    from service.jobs import claims

    now = clock.now()
    with database.session() as db:
        if claims.claim(db, key=key, holder="demo", now=now, until=now):
            claims.done(db, key=key, holder="demo")


def _last_day(database: "Database", settings: "Settings", clock: "Clock") -> date:
    """Give the last day of the invented year: as it was begun, else yesterday."""
    from service.serve import StartError
    from service.sites.queries import count_sites

    begun = _started(database)
    if begun is not None:
        return begun
    with database.reading() as db:
        foreign = count_sites(db) > 0
    if foreign:
        raise StartError(
            f"{settings.data_dir} holds sites that are no demo; choose another folder with "
            "--data-dir"
        )
    last_day = clock.now().date() - timedelta(days=1)
    _mark(database, f"{_STARTED}{last_day.isoformat()}", clock)
    return last_day


def _make(settings: "Settings", database: "Database", clock: "Clock", *, last_day: date) -> None:
    """Make, load and look at every plant; what an interrupted start left behind is gone on with."""
    from fixtures.fleet import DEMO_SITES, make_demo
    from service.jobs.run import Worker

    worker = Worker(settings=settings, database=database, clock=clock)
    with Steps(len(DEMO_SITES)) as steps:
        steps.now(0, "making the invented plants' year; the first takes longest")
        for number, files in enumerate(make_demo(last_day=last_day, workers=2), 1):
            name = _load(settings, database, clock, files)
            steps.now(number, f"{name}: reading and looking at its year")
            worker.work_all()
        steps.now(len(DEMO_SITES), "finishing")
        worker.work_all()
    worker.stop()
    _check(database)
    _set_out(database)
    _mark(database, _READY, clock)


def _load(settings: "Settings", database: "Database", clock: "Clock", files: "DemoFiles") -> str:
    """Hand in one plant as a user would: its site file, then its log; gives its name."""
    from service.accounts.queries import first_firm
    from service.ingest.actions import keep_upload
    from service.ingest.files import RawStore
    from service.sites.actions import register_site
    from service.sites.queries import list_sites

    kept = RawStore(settings.data_dir).keep([files.log])
    with database.session() as db:
        firm = first_firm(db)
        assert firm is not None  # `open_database` made it
        known = [s for s in list_sites(db, firm_id=firm.id) if s.text == files.site_toml]
        site = (
            known[0]
            if known
            else register_site(db, firm_id=firm.id, text=files.site_toml, now=clock.now())
        )
        keep_upload(db, site=site, kept=kept, name=files.log_name, via="demo", now=clock.now())
        return site.name


def _set_out(database: "Database") -> None:
    """Say where the invented firm sets out from, so that the list of visits tells distances."""
    from service.accounts.queries import first_firm
    from service.visits.actions import set_base

    with database.session() as db:
        firm = first_firm(db)
        assert firm is not None
        set_base(db, firm_id=firm.id, latitude="52.3", longitude="-1.6")


def _check(database: "Database") -> None:
    """Make sure that nothing of the fleet was refused or failed."""
    from service.ingest.queries import not_stored
    from service.serve import StartError
    from service.sites.queries import problems_said

    with database.reading() as db:
        refused, failed = not_stored(db), problems_said(db)
    if problems := [text for text in (*refused, *failed) if text]:
        raise StartError(f"the demo's own data could not be used: {problems[0]}")


class Steps:
    """Shows how far the work is, with the seconds running on a terminal."""

    def __init__(self, count: int) -> None:
        self._progress = Progress(sys.stderr, always=True)
        self._count = count
        self._began = time.monotonic()
        self._done, self._text = 0, ""
        self._ended = threading.Event()
        self._lock = threading.Lock()
        self._ticker = threading.Thread(target=self._tick, daemon=True)

    def __enter__(self) -> Self:
        if sys.stderr.isatty():
            self._ticker.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        if self._ticker.is_alive():
            self._ticker.join()
        self._progress.clear()

    def now(self, done: int, text: str) -> None:
        """Say what is being done now, and what number it is."""
        with self._lock:
            self._done, self._text = done, text
            self._show()

    def _tick(self) -> None:
        while not self._ended.wait(1.0):
            with self._lock:
                self._show()

    def _show(self) -> None:
        passed = time.monotonic() - self._began
        self._progress.say(f"{self._done:>2}/{self._count}  {passed:3.0f} s  {self._text}")
