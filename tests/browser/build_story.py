"""What the story of the whole walk needs: an invented plant's two logs, servers, a mail server."""

import os
import re
import selectors
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email import message_from_bytes, policy
from email.message import EmailMessage
from functools import lru_cache
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
NAME = "Orchard End 3"
# The pump stands still from the 8th on; on the 20th somebody changes it.
VISIT = datetime(2025, 6, 20, 9, 30, tzinfo=UTC)
# Monday of the week after, once digests may leave and nobody's quiet hours hold any more.
MONDAY = datetime(2025, 6, 30, 6, 10, tzinfo=UTC)


@dataclass(frozen=True)
class Files:
    """The site file, the log up to the visit, and that from there on."""

    site: str
    before: bytes
    after: bytes


@lru_cache(maxsize=1)
def files() -> Files:
    """Simulate four weeks at five minutes, written by a controller that explains half its heads."""
    from fixtures.logfile import controller_csv
    from fixtures.scenario import Fault, home, site_toml
    from fixtures.sensors import observe
    from fixtures.simulate import simulate

    dead = Fault(kind="pump_dead", start="2025-06-08T11:20", end="2025-06-20T10:40")
    plant = home(name=NAME, latitude_deg=51.9, longitude_deg=-2.1, faults=(dead,))
    run = simulate(plant, seed=5, start="2025-06-01", days=29)
    data, _ = controller_csv(observe(run, seed=5, sensors="site", step_s=300))
    lines = data.split(b"\r\n")
    heads, rows = lines[:3], lines[3:]
    cut = next(n for n, row in enumerate(rows) if row.startswith(b"20.06.2025 10:00"))
    return Files(
        site=site_toml(plant),
        before=b"\r\n".join([*heads, *rows[:cut], b""]),
        after=b"\r\n".join([*heads, *rows[cut:]]),
    )


@dataclass
class MovedClock:
    """The file that the servers' clocks are set off by."""

    file: Path

    def stand_at(self, moment: datetime) -> None:
        """Have it be this moment now."""
        new = self.file.with_suffix(".new")
        new.write_text(str((moment - datetime.now(UTC)).total_seconds()), encoding="utf-8")
        new.replace(self.file)


def free_port() -> int:
    """Give a port that nothing listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class Letterbox:
    """What a mail server took in: the recipients of each message, and the message."""

    port: int = 0
    taken: list[tuple[list[str], EmailMessage]] = field(default_factory=list)

    def wait_for(self, subject: str, *, seconds: float = 30.0) -> tuple[list[str], EmailMessage]:
        """Give the first message whose subject holds these words."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            for one in list(self.taken):
                if subject in one[1]["Subject"]:
                    return one
            time.sleep(0.05)
        seen = [message["Subject"] for _, message in self.taken]
        raise AssertionError(f"no mail about {subject!r}; taken: {seen}")


@contextmanager
def letterbox() -> Iterator[Letterbox]:
    """Run a whole mail server (aiosmtpd) on this machine."""
    from aiosmtpd.controller import Controller

    box = Letterbox()

    class Handler:
        async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
            message = message_from_bytes(envelope.content, policy=policy.default)
            box.taken.append((list(envelope.rcpt_tos), message))
            return "250 taken"

    box.port = free_port()
    controller = Controller(Handler(), hostname="127.0.0.1", port=box.port)
    controller.start()
    try:
        yield box
    finally:
        controller.stop()


@dataclass
class Firm:
    """A data folder and the processes over it, their clock and their settings."""

    folder: Path
    clock: MovedClock
    port: int
    smtp_port: int

    @property
    def address(self) -> str:
        """Where people open it: a name of this machine that counts as reachable by others."""
        return f"http://suntally.localhost:{self.port}"

    @contextmanager
    def running(self, *words: str) -> Iterator["subprocess.Popen[str]"]:
        """Run a command of Suntally until the block ends."""
        process = subprocess.Popen(
            [sys.executable, "-m", "tests.browser.another_time", str(self.clock.file), *words],
            cwd=ROOT,
            env={
                **os.environ,
                "PYTHONUNBUFFERED": "1",
                "SUNTALLY_DATA_DIR": str(self.folder / "data"),
                "SUNTALLY_PORT": str(self.port),
                "SUNTALLY_BASE_URL": self.address,
                "SUNTALLY_SMTP_HOST": "127.0.0.1",
                "SUNTALLY_SMTP_PORT": str(self.smtp_port),
                "SUNTALLY_SMTP_STARTTLS": "no",
                "SUNTALLY_WORKER_PAUSE_S": "0.2",
            },
            stdout=subprocess.PIPE,
            text=True,
        )
        try:
            yield process
        finally:
            process.send_signal(signal.SIGTERM)
            process.communicate(timeout=30)


def said(process: "subprocess.Popen[str]", wanted: str, *, seconds: float = 60.0) -> str:
    """Read what a command prints until a line fits; gives the line's match."""
    assert process.stdout is not None
    until = time.monotonic() + seconds
    with selectors.DefaultSelector() as ready:
        ready.register(process.stdout, selectors.EVENT_READ)
        while time.monotonic() < until and process.poll() is None:
            if not ready.select(timeout=0.2):
                continue
            if found := re.search(wanted, process.stdout.readline()):
                return found[0]
    raise AssertionError(f"the command never said {wanted!r}")
