"""SIGKILL at random instants of an upload of many files; sent again, all is there once.

A share of `python -m tests.bench.upload_kills`, which kills the real server fifty times.
"""

import os
import random
import signal
import time
from dataclasses import replace
from pathlib import Path

import pytest

from service.db.engine import Database
from service.jobs.run import release_dead
from tests.build_service import BackEnd, back_ends
from tests.crash.many_files import small_logs, stored

LOGS = small_logs(12)
INSTANTS = 3


def upload(back: BackEnd) -> None:
    """Hand all files in, reading now and then, as a server and its worker do."""
    worker = back.worker()
    for name, text in LOGS:
        back.hand_in("mill-lane-4", text, name)
        worker.work_once()
    worker.work_all()


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, object], float]:
    with back_ends(tmp_path_factory.mktemp("undisturbed")) as make:
        back = make()
        back.add_site()
        start = time.monotonic()
        upload(back)
        return stored(back.database), time.monotonic() - start


@pytest.mark.parametrize("number", range(INSTANTS))
def test_a_kill_at_any_instant_loses_and_doubles_nothing(
    tmp_path: Path, undisturbed: tuple[dict[str, object], float], number: int
) -> None:
    whole, length_s = undisturbed
    assert len(whole["uploads"]) == len(LOGS)
    # Spread over the run, a random instant in each part; how fast the machine is does not matter.
    share = (number + random.Random(number).random()) / INSTANTS
    with back_ends(tmp_path) as make:
        back = make()
        back.add_site()
        back.database.close()
        child = os.fork()
        if child == 0:
            try:
                upload(replace(back, database=Database(back.settings.url)))
            finally:
                os._exit(0)
        time.sleep(share * length_s)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        release_dead(back.database, now=back.clock.now())
        upload(back)
        assert stored(back.database) == whole
