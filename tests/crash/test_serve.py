"""The real command: one process tree that stops cleanly, heals, and loses nothing it accepted."""

import contextlib
import http.client
import importlib
import json
import multiprocessing
import os
import random
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import func, select

from service.cli import main
from service.db.engine import Database
from service.db.models import DayBlock
from service.ingest.queries import load_rows
from service.settings import Settings
from tests.build_server import answered
from tests.build_service import site_file, tidy_log

ROOT = Path(__file__).parent.parent.parent
PATIENCE_S = 60


class Server:
    """`suntally serve` as a process tree of its own."""

    def __init__(self, folder: Path) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.folder = folder
        self.process: subprocess.Popen[str] | None = None

    def start(self, *more: str, **variables: str) -> str:
        """Start it and wait until it answers; gives the first line it printed."""
        self.process = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "service.cli",
                "serve",
                "--data-dir",
                str(self.folder),
                "--port",
                str(self.port),
                *more,
            ],
            cwd=ROOT,
            env={**os.environ, "SUNTALLY_WORKER_LEASE_S": "3", **variables},
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            start_new_session=True,
        )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        wait_for(lambda: self.answers() is not None)
        return line

    def answers(self) -> dict | None:
        try:
            return self.call("GET", "/health")
        except (OSError, http.client.HTTPException):
            return None

    def call(
        self, method: str, path: str, data: bytes | None = None, key: str | None = None
    ) -> dict:
        headers = {"content-type": "application/octet-stream"}
        if key:
            headers["authorization"] = f"Bearer {key}"
        request = urllib.request.Request(
            f"http://127.0.0.1:{self.port}{path}", data=data, method=method, headers=headers
        )
        with urllib.request.urlopen(request, timeout=20) as answer:
            return json.load(answer)

    def workers(self) -> list[int]:
        assert self.process is not None
        path = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children")
        tasks = path.parent.parent.glob("*/children")
        children = [int(pid) for task in tasks for pid in task.read_text().split()]
        return [
            pid
            for pid in children
            if b"--multiprocessing-fork" in Path(f"/proc/{pid}/cmdline").read_bytes()
        ]

    def kill(self) -> None:
        """End the web process and the worker at once, as a power cut would."""
        assert self.process is not None
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()
        assert self.process.stdout is not None
        self.process.stdout.close()

    def stop(self) -> int:
        assert self.process is not None
        self.process.send_signal(signal.SIGTERM)
        status = self.process.wait(timeout=PATIENCE_S)
        assert self.process.stdout is not None
        self.process.stdout.close()
        return status


def wait_for(true: Callable[[], bool], *, patience_s: float = PATIENCE_S) -> None:
    deadline = time.monotonic() + patience_s
    while not true():
        assert time.monotonic() < deadline, "waited too long"
        time.sleep(0.05)


def alive(pid: int) -> bool:
    try:
        return "Z" not in Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except OSError:
        return False


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    server = Server(tmp_path / "data")
    yield server
    if server.process is not None and server.process.poll() is None:
        server.kill()


def add_site(server: Server) -> str:
    return server.call("POST", "/api/sites", site_file().encode())["slug"]


def has_report(server: Server, slug: str) -> bool:
    try:
        server.call("GET", f"/api/sites/{slug}/report")
    except urllib.error.HTTPError as error:
        code = error.code
        error.close()
    else:
        return True
    assert code == 404
    return False


def test_one_command_serves_works_heals_and_stops(server: Server) -> None:
    line = server.start()
    assert line == f"Suntally is at http://127.0.0.1:{server.port}\n"
    slug = add_site(server)
    wait_for(lambda: len(server.workers()) == 1)
    (first,) = server.workers()
    os.kill(first, signal.SIGKILL)
    server.call("POST", f"/api/sites/{slug}/logs", tidy_log(hours=48).encode())
    wait_for(lambda: has_report(server, slug))
    (second,) = server.workers()
    assert second != first
    assert server.answers()["worker"] == "alive"
    assert server.stop() == 0
    assert not alive(second)


def test_who_sends_too_much_reads_why(server: Server) -> None:
    server.start("--web-only")
    slug = add_site(server)
    key = server.call("POST", f"/api/sites/{slug}/keys")["key"]
    for path, body, status in (("rows", bytes(9 << 20), 413), ("logs", bytes(9 << 20), 401)):
        with pytest.raises(urllib.error.HTTPError) as refused:
            server.call("POST", f"/api/sites/{slug}/{path}", body, key if status == 413 else "no")
        assert refused.value.code == status
        assert json.load(refused.value)["status"] == status
        refused.value.close()
    with socket.create_connection(("127.0.0.1", server.port), timeout=PATIENCE_S) as sender:
        sender.sendall(b"GET / HTTP/1.1\r\nX-Long: " + b"a" * 70_000)
        assert b"The head of the request is too large." in answered(sender)


def test_a_worker_ends_when_its_server_is_gone(server: Server) -> None:
    server.start()
    wait_for(lambda: len(server.workers()) == 1)
    (worker,) = server.workers()
    os.kill(server.process.pid, signal.SIGKILL)
    wait_for(lambda: not alive(worker))
    server.process.wait()
    server.process.stdout.close()


def test_what_was_acknowledged_survives_kills_at_random_instants(server: Server) -> None:
    instants = random.Random(7)
    first = datetime(2025, 6, 1, tzinfo=UTC)
    acknowledged: dict[int, float] = {}
    sent = 0
    key = slug = ""
    for _ in range(4):
        server.start()
        if not slug:
            slug = add_site(server)
            key = server.call("POST", f"/api/sites/{slug}/keys")["key"]
        killer = threading.Timer(
            instants.uniform(0.0, 0.03), os.killpg, (server.process.pid, signal.SIGKILL)
        )
        last_sure = sent + 10 * instants.randrange(3, 15)
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            rows = [
                {
                    "time": (first + timedelta(seconds=30 * number)).isoformat(),
                    "t_collector_c": float(number % 70),
                }
                for number in range(sent, sent + 10)
            ]
            try:
                answer = server.call(
                    "POST", f"/api/sites/{slug}/rows", json.dumps({"rows": rows}).encode(), key
                )
            except (OSError, http.client.HTTPException):
                break
            assert answer["accepted"] == 10
            acknowledged.update(
                {
                    1_748_736_000 + 30 * number: float(number % 70)
                    for number in range(sent, sent + 10)
                }
            )
            sent += 10
            if sent == last_sure:
                killer.start()
        killer.join()
        server.kill()
        sent += 10
    assert len(acknowledged) >= 4 * 30
    database = Database(Settings(data_dir=server.folder).url)
    with database.reading() as db:
        site_id = db.scalar(select(DayBlock.site_id).limit(1))
        rows = load_rows(db, site_id=site_id, start_s=0, end_s=2_000_000_000)
        total = db.scalar(select(func.sum(DayBlock.rows)))
    database.close()
    held = dict(zip(rows.stamp_s.tolist(), rows.columns["collector"].tolist(), strict=True))
    assert {stamp: held.get(stamp) for stamp in acknowledged} == acknowledged
    assert total % 10 == 0  # a batch is there as a whole or not at all


@dataclass(frozen=True)
class Ended:
    """How a command ended, and what it printed."""

    returncode: int | None
    stdout: str
    stderr: str


def _be_the_command(arguments: Sequence[str], variables: dict[str, str], folder: Path) -> None:
    """Run the command in a forked process, whose two outputs are files."""
    os.environ.update(variables)
    with (folder / "out").open("w") as sys.stdout, (folder / "err").open("w") as sys.stderr:
        status = main(list(arguments))
    os._exit(status)


def run(*arguments: str, **variables: str) -> Ended:
    """Run a command that ends by itself; forked, so that what it needs is imported once."""
    importlib.import_module("service.serve")
    importlib.import_module("service.app")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        process = multiprocessing.get_context("fork").Process(
            target=_be_the_command, args=(arguments, variables, folder)
        )
        process.start()
        process.join(PATIENCE_S)
        if process.is_alive():
            process.kill()
            raise TimeoutError(arguments)
        out, err = ((folder / one).read_text(encoding="utf-8") for one in ("out", "err"))
        return Ended(process.exitcode, out, err)


def test_a_server_for_others_prints_a_link_that_sets_the_password(server: Server) -> None:
    line = server.start("--host", "0.0.0.0", "--web-only")
    printed = [line, *(server.process.stdout.readline() for _ in range(2))]
    assert "no password is set" in printed[0]
    token = printed[2].strip().split("token=")[1]
    with pytest.raises(urllib.error.HTTPError) as refused:
        server.call("GET", "/api/sites")
    assert refused.value.code == 401
    refused.value.close()
    database = Database(Settings(data_dir=server.folder).url)
    from service.accounts.actions import login_of_link

    with database.reading() as db:
        assert login_of_link(db, token, now=datetime.now(UTC)) == "owner"
    database.close()


@pytest.mark.parametrize(
    ("arguments", "variables", "words"),
    [
        (["--data-dir", "/proc/nowhere"], {}, "choose another with --data-dir"),
        (["--database-url", "postgresql+psycopg://127.0.0.1:9/x"], {}, "check --database-url"),
        (["--port", "99999"], {}, "SUNTALLY_PORT"),
        (["--host", "192.0.2.1"], {}, "192.0.2.1 port 8321 cannot be listened on"),
        ([], {"SUNTALLY_UNDO_DAYS": "-1"}, "SUNTALLY_UNDO_DAYS"),
        (["--host", "0.0.0.0"], {"SUNTALLY_PASSWORD_FILE": "/nowhere"}, "/nowhere cannot be read"),
    ],
)
def test_a_start_that_cannot_be_says_why_in_one_line(
    tmp_path: Path, arguments: list[str], variables: dict[str, str], words: str
) -> None:
    places = [] if "--data-dir" in arguments else ["--data-dir", str(tmp_path)]
    done = run("serve", *places, *arguments, **variables)
    assert done.returncode == 2
    assert words in done.stderr
    assert done.stderr.count("\n") == 1
    assert "Suntally is at" not in done.stdout


def test_a_data_folder_that_cannot_be_used_is_said_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "uploads").touch()
    done = run("serve", "--data-dir", str(tmp_path))
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "cannot be used (File exists)" in done.stderr


def test_a_database_of_a_newer_version_is_left_alone(tmp_path: Path) -> None:
    from sqlalchemy import text

    database = Database(Settings(data_dir=tmp_path).url)
    database.migrate()
    with database.session() as db:
        db.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    database.close()
    done = run("serve", "--data-dir", str(tmp_path))
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "made by a newer Suntally" in done.stderr


def test_help_does_not_load_what_is_heavy() -> None:
    code = (
        "import sys, service.cli\n"
        "try: service.cli.main(['--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'pandas', 'pyarrow', 'sqlalchemy', 'fastapi', 'plotly', 'pvlib'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout.endswith("[]\n")
