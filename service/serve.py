"""Starting the service: web and worker as one process tree, or each alone."""

import argparse
import logging
import multiprocessing
import os
import signal
import socket
import sys
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from multiprocessing.context import SpawnProcess
from pathlib import Path
from typing import TYPE_CHECKING

from filelock import FileLock, Timeout
from pydantic import ValidationError
from sqlalchemy.exc import SQLAlchemyError

from dashboards.render import warm
from service.accounts.actions import ensure_firm, make_setup_link, password_from_file
from service.asgi import App
from service.clock import Clock, SystemClock
from service.db.engine import Database
from service.errors import ServiceError
from service.ingest.files import RawStore
from service.operation.logs import log_to_stderr
from service.settings import Settings

if TYPE_CHECKING:
    import uvicorn

LOG = logging.getLogger("suntally")

_PATIENCE_S = 20.0
# What a command line can set, under the name of the setting.
_FROM_COMMAND = ("data_dir", "database_url", "host", "port", "analysis_processes", "dask_address")
_LONGEST_PAUSE_S = 30.0
# A thread that waited for disk or network goes on after so long at most while others compute.
# Python's own 5 ms, at each statement of a transaction, kept batches from being stored while many
# were turned away: measured at 1,000 a second.
_SWITCH_S = 0.0005


class StartError(Exception):
    """The service cannot start; the text says why and what to do."""


def settings_from(args: argparse.Namespace) -> Settings:
    """Take settings from the environment; what the command line says goes first."""
    given = {
        name: value for name in _FROM_COMMAND if (value := getattr(args, name, None)) is not None
    }
    try:
        return Settings(**given)
    except ValidationError as error:
        first = error.errors()[0]
        name = "_".join(str(part) for part in first["loc"])
        said = first["msg"].removeprefix("Value error, ")
        raise StartError(f"SUNTALLY_{name.upper()}: {said}") from None


def open_database(settings: Settings, clock: Clock) -> Database:
    """Open the database, bring its tables up to date and make the firm."""
    from alembic.util.exc import CommandError

    try:
        settings.data_dir.mkdir(parents=True, exist_ok=True)
        RawStore(settings.data_dir)
        database = Database(settings.url)
        database.migrate()
        with database.session() as db:
            ensure_firm(db, now=clock.now())
    except OSError as error:
        raise _unusable(settings, error) from None
    except CommandError:
        raise StartError(
            "the database was made by a newer Suntally than this one; install that version, or "
            "choose another with --data-dir or --database-url"
        ) from None
    except SQLAlchemyError as error:
        reason = str(error.__cause__ or error).splitlines()[0]
        if "locked" in reason:
            raise StartError(
                "another program holds the database; end that program, then start again"
            ) from None
        if "readonly" in reason or "unable to open" in reason:
            raise StartError(
                f"the database in {settings.data_dir} cannot be written; give this program's user "
                "leave to write there"
            ) from None
        if "full" in reason:
            raise StartError("the disk that holds the data is full; make room first") from None
        raise StartError(
            f"the database cannot be used ({reason}); check --database-url and --data-dir"
        ) from None
    return database


@contextmanager
def only_server(settings: Settings) -> Iterator[None]:
    """See that no other server uses the same SQLite database; the system frees it at any end.

    Raises
    ------
    StartError : another one does, or the data folder cannot be used
    """
    if settings.database_url is not None:
        yield
        return
    note = settings.data_dir / "server.pid"
    try:
        settings.data_dir.mkdir(parents=True, exist_ok=True)
        lock = FileLock(settings.data_dir / "server.lock", blocking=False)
        lock.acquire()
        note.write_text(f"{os.getpid()}\n", encoding="ascii")
    except Timeout:
        raise StartError(
            f"another server (process {_pid(note)}) uses {settings.data_dir} already; stop it, or "
            "choose another folder with --data-dir"
        ) from None
    except OSError as error:
        raise _unusable(settings, error) from None
    try:
        yield
    finally:
        lock.release()


def _pid(note: Path) -> str:
    try:
        return note.read_text("ascii").strip()
    except (OSError, ValueError):
        return "unknown"


def _unusable(settings: Settings, error: OSError) -> StartError:
    return StartError(
        f"the data folder {settings.data_dir} cannot be used ({error.strerror}); choose another "
        "with --data-dir"
    )


def serve(args: argparse.Namespace) -> int:
    """Serve the pages until stopped; gives the exit status."""
    clock = SystemClock()
    try:
        settings = settings_from(args)
        log_to_stderr(as_json=settings.log_format == "json")
        with only_server(settings):
            database = open_database(settings, clock)
            link = _first_password(settings, database, clock)
            return serve_with(settings, database, clock, web_only=args.web_only, link=link)
    except (StartError, ServiceError) as error:
        return _refuse(str(error))


def serve_with(
    settings: Settings,
    database: Database,
    clock: Clock,
    *,
    web_only: bool = False,
    link: str | None = None,
) -> int:
    """Serve an opened database: web here, the worker as a child that is kept running.

    Raises
    ------
    StartError : the address cannot be had
    """
    import uvicorn

    from service.app import create_app

    sys.setswitchinterval(_SWITCH_S)
    listener = _listener(settings)
    keeper = None if web_only else WorkerKeeper(settings, database)
    config = server_config(create_app(settings, database, clock), settings)
    stopping = threading.Event()
    # uvicorn sends the signal that stopped it once more at its end, to whoever listened before;
    # without a listener the process would end before its worker.
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stopping.set())
    try:
        if keeper is not None:
            keeper.start()
        sys.stdout.write(f"Suntally is at {settings.public_url}\n")
        if link is not None:
            sys.stdout.write(f"To have it ask for a password, open this once:\n  {link}\n")
        sys.stdout.flush()
        threading.Thread(target=warm, daemon=True).start()
        if not stopping.is_set():
            uvicorn.Server(config).run(sockets=[listener])
    finally:
        listener.close()
        if keeper is not None:
            keeper.stop()
    return 0


def server_config(app: App, settings: Settings) -> "uvicorn.Config":
    """Say how the web server treats connections.

    Whoever asks is told apart by their address, so a proxy has to say it, and no one else can.
    """
    from uvicorn import Config

    from service.connections import Connection

    return Config(
        app,
        http=Connection,
        log_level="warning",
        server_header=False,
        proxy_headers=settings.base_url is not None,
        forwarded_allow_ips=settings.proxy_addresses,
        timeout_graceful_shutdown=10,
    )


def _listener(settings: Settings) -> socket.socket:
    """Take the address; connections wait there until the pages are ready.

    Raises
    ------
    StartError : it cannot be had
    """
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            settings.host, settings.port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        with ExitStack() as undone:
            listener = undone.enter_context(socket.socket(family, kind, protocol))
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listener.bind(address)
            listener.listen(128)
            undone.pop_all()
    except OSError as error:
        raise StartError(
            f"{settings.host} port {settings.port} cannot be listened on ({error.strerror}); "
            "choose another with --host or --port"
        ) from None
    return listener


def work(args: argparse.Namespace) -> int:
    """Run a worker alone until stopped; gives the exit status."""
    clock = SystemClock()
    try:
        settings = settings_from(args)
        log_to_stderr(as_json=settings.log_format == "json")
        database = open_database(settings, clock)
    except StartError as error:
        return _refuse(str(error))
    from service.jobs.run import run_worker

    run_worker(settings=settings, database=database, clock=clock)
    database.close()
    return 0


class WorkerKeeper:
    """Keeps one worker process running beside the web."""

    def __init__(self, settings: Settings, database: Database) -> None:
        self.settings = settings
        self.database = database
        self._stopping = threading.Event()
        self._child: SpawnProcess | None = None
        self._thread = threading.Thread(target=self._keep, daemon=True)

    def start(self) -> None:
        """Start the worker."""
        self._thread.start()

    def stop(self) -> None:
        """Let the worker finish its task and end; one that does not is ended."""
        self._stopping.set()
        self._thread.join()
        child = self._child
        if child is None:
            return
        child.terminate()
        child.join(_PATIENCE_S)
        if child.is_alive():
            child.kill()
            child.join()

    def _keep(self) -> None:
        from service.jobs.run import release_dead

        pause_s = 0.5
        context = multiprocessing.get_context("spawn")
        while not self._stopping.is_set():
            self._child = context.Process(
                target=worker_process, args=(self.settings, os.getpid()), name="suntally-worker"
            )
            self._child.start()
            while self._child.is_alive() and not self._stopping.wait(0.2):
                pass
            if self._stopping.is_set():
                return
            LOG.error("the worker ended with status %s; starting it again", self._child.exitcode)
            try:
                release_dead(self.database, now=SystemClock().now())
            except SQLAlchemyError:
                LOG.exception("what the dead worker held could not be freed; its lease will end")
            self._stopping.wait(pause_s)
            pause_s = min(pause_s * 2, _LONGEST_PAUSE_S)


def worker_process(settings: Settings, parent: int) -> None:
    """Be the worker of a server."""
    from service.jobs.run import run_worker

    log_to_stderr(as_json=settings.log_format == "json")
    database = Database(settings.url)
    run_worker(settings=settings, database=database, clock=SystemClock(), parent=parent)
    database.close()


def _first_password(settings: Settings, database: Database, clock: Clock) -> str | None:
    """See that the owner's account is there or can be made.

    Gives the link that makes it where only this machine can reach the service, so that it need
    not be used; where others can, it is printed before anything else.
    """
    now = clock.now()
    with database.session() as db:
        if settings.password_file is not None:
            password_from_file(db, path=settings.password_file, now=now)
        token = make_setup_link(db, now=now)
    if token is None:
        return None
    link = f"{settings.public_url}/first-password?token={token}"
    if not settings.reachable:
        return link
    sys.stdout.write(
        "Others can reach this server and no password is set yet. Until one is set, every "
        f"page asks for it.\nOpen this link once to set it:\n  {link}\n"
    )
    return None


def _refuse(why: str) -> int:
    sys.stderr.write(f"suntally: {why}\n")
    return 2
