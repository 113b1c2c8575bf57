"""Mail under `kill -9` and under two workers: one digest, or the same Message-ID twice, never none.

The victim is a child process that dies by SIGKILL at a named point of a tick.
"""

import os
import signal
import threading
import time
from collections import Counter
from dataclasses import replace
from datetime import timedelta

import pytest

from service.db.engine import Database
from service.jobs.run import holder_name, release_dead
from tests.build_mail import add_reader, files, fleet, frost, mails, timetable
from tests.build_service import back_ends
from tests.crash.victim import after, before


@pytest.fixture
def back(tmp_path):
    with back_ends(tmp_path) as make:
        yield make()


def arm(point: str) -> None:
    from service.digests import actions
    from service.jobs import claims
    from service.mail import outbox, send
    from service.mail.transport import FolderTransport

    how, owner, name = {
        "digest claimed": (before, actions, "digest_mail"),
        "digest composed, claim not ended": (before, claims, "done"),
        "claim ended, mail not laid out": (before, outbox, "put"),
        "mail laid out, not committed": (after, outbox, "put"),
        "composed and committed, not sent": (before, actions.UrgentWatch, "mail_new"),
        "mail taken, not sent": (before, FolderTransport, "deliver"),
        "sent, not noted": (after, FolderTransport, "deliver"),
        "noted, not committed": (after, send.claims, "finish"),
        "urgent mail made, not committed": (after, actions, "_tell"),
    }[point]
    how(owner, name)


def tick_and_die(back, point: str) -> bool:
    """Let a child do one tick that ends at a point; gives whether it died there."""
    back.database.close()
    child = os.fork()
    if child == 0:
        try:
            own = replace(back, database=Database(back.settings.url))
            arm(point)
            timetable(own, holder_name()).tick()
        finally:
            os._exit(3)
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL
        time.sleep(0.005)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    raise TimeoutError(point)


POINTS = [
    "digest claimed",
    "digest composed, claim not ended",
    "claim ended, mail not laid out",
    "mail laid out, not committed",
    "composed and committed, not sent",
    "mail taken, not sent",
    "sent, not noted",
    "noted, not committed",
]


@pytest.mark.parametrize("point", POINTS)
@pytest.mark.parametrize("freed", ["by its lease", "by whoever saw the death"])
def test_a_digest_killed_anywhere_still_reaches_its_reader_as_one_message(back, point, freed):
    fleet(back)
    add_reader(back)
    assert tick_and_die(back, point)
    if freed == "by its lease":
        back.clock.move(minutes=6)
    else:
        release_dead(back.database, now=back.clock.now())
    timetable(back, "worker-2").tick()
    timetable(back, "worker-3").tick()
    (mail,) = mails(back)
    assert mail.state == "sent"
    # The folder has one file per Message-ID: what was written twice is one message.
    (message,) = files(back)
    assert message["Message-ID"] == mail.message_id


def test_a_crash_after_the_servers_yes_sends_the_same_message_id_again(back):
    fleet(back)
    add_reader(back)
    assert tick_and_die(back, "sent, not noted")
    (first,) = files(back)
    path = next(back.settings.outbox.glob("*.eml"))
    path.unlink()
    back.clock.move(minutes=6)
    timetable(back, "worker-2").tick()
    (second,) = files(back)
    for name in ("Message-ID", "Date", "Subject", "To"):
        assert first[name] == second[name]


@pytest.mark.parametrize("point", ["urgent mail made, not committed", "mail taken, not sent"])
def test_an_urgent_mail_killed_anywhere_still_leaves_once(back, point):
    fleet(back, findings=(frost(),))
    back.clock.move(hours=6)
    add_reader(back, digest=False)
    assert tick_and_die(back, point)
    back.clock.move(minutes=6)
    timetable(back, "worker-2").tick()
    (mail,) = mails(back)
    assert mail.state == "sent"
    assert len(files(back)) == 1


def test_two_workers_at_once_send_every_digest_and_urgent_mail_once(back, monkeypatch):
    from service.mail.transport import FolderTransport

    fleet(back, findings=(frost(),))
    back.clock.move(hours=6)
    for number in range(6):
        add_reader(back, f"reader{number}@example.org")
    delivered: Counter[str] = Counter()
    deliver = FolderTransport.deliver

    def counting(self, message):
        delivered[message["Message-ID"]] += 1
        deliver(self, message)

    monkeypatch.setattr(FolderTransport, "deliver", counting)
    threads = [
        threading.Thread(target=timetable(back, f"worker-{number}").tick) for number in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    back.clock.move(minutes=6)
    timetable(back).tick()
    assert {mail.state for mail in mails(back)} == {"sent"}
    assert len(mails(back)) == 12  # a digest and an urgent mail each
    assert len(delivered) == 12
    assert set(delivered.values()) == {1}


def test_a_restart_in_the_same_week_composes_nothing_again(back):
    fleet(back)
    add_reader(back)
    for _ in range(4):
        timetable(back, holder_name()).tick()
        back.clock.move(hours=13)
    assert back.clock.now() - mails(back)[0].created_at == timedelta(hours=52)
    assert len(mails(back)) == 1
