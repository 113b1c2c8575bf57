"""What tests in a browser open: an invented site, served by the real command."""

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.build_report import a_report, at
from tests.build_service import back_end

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("chrome")

Opener = Callable[..., Any]


def seed(folder: Path) -> None:
    """Put one site with an invented report and one day of rows into a fresh data folder."""
    from analysis.assess import METHOD
    from analysis.blocks import Block
    from analysis.results import report_json
    from service.db.models import DayMark, Site, SiteReport, Upload
    from service.ingest.storing import store_rows

    back = back_end(folder)
    slug = back.add_site()
    now = datetime.now(UTC)
    stamps = at(5, 17) - 7200 + np.arange(1, 1441) * 60
    sun = np.clip(900 * np.sin((np.arange(1440) / 60 - 6) / 14 * np.pi), 0, None)
    columns = {
        "collector": 15 + sun * 0.2,
        "loop_hot": 22 + sun * 0.01,
        "flow": np.zeros(1440),
        "pump": np.where(sun > 100, 100.0, 0.0),
        "irradiance_plane": sun,
    }
    with back.database.session() as db:
        site = db.get(Site, back.site_id(slug))
        assert site is not None
        rows = Block(stamp_s=stamps.astype(np.int64), columns=columns)
        upload = Upload(
            site_id=site.id, name="pushed", pushed_on=now.date(), size_bytes=0, via="gateway",
            state="stored", received_at=now,
        )  # fmt: skip
        db.add(upload)
        db.flush()
        store_rows(db, site=site, upload=upload, rows=rows, stamp="end", due_at=now)
        db.query(DayMark).delete()
        db.add(
            SiteReport(
                site_id=site.id,
                report=report_json(a_report(timezone="Europe/Berlin", method=METHOD)),
                method=METHOD,
                site_version=site.version,
                data_until_s=int(now.timestamp()) - 1200,
                made_at=now,
            )
        )
    back.database.close()


@contextmanager
def served(folder: Path, *more: str) -> Iterator[str]:
    """Serve a data folder by the real command; gives its address. `more` goes on its line."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "service.cli", "serve", "--port", str(port)]
    process = subprocess.Popen(
        [*command, "--data-dir", str(folder / "data"), *more],
        cwd=Path(__file__).resolve().parents[2],
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    address = f"http://127.0.0.1:{port}"
    try:
        wait_until_up(address, process)
        yield address
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(30)


def wait_until_up(address: str, process: subprocess.Popen[bytes]) -> None:
    for _ in range(900):
        assert process.poll() is None, "the server ended before it answered"
        try:
            with urllib.request.urlopen(f"{address}/health", timeout=2):
                return
        except OSError:
            time.sleep(0.1)
    pytest.fail("the server did not answer")
