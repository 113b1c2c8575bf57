"""Gateways push to the real server, which is killed meanwhile: what was acknowledged is there.

A short stretch of `python -m fixtures.load`; how fast it is, is not asked.
"""

from pathlib import Path

from sqlalchemy import func, select

from fixtures.load.gateways import lost_rows, make_gateways, utc_now
from fixtures.load.maker import Plan
from fixtures.load.server import Server
from fixtures.load.steps import Sent, end, load, start
from service.db.engine import Database
from service.db.models import DayBlock
from service.settings import Settings
from tests.crash.test_serve import wait_for


def stored_rows(database: Database) -> int:
    with database.reading() as db:
        return db.scalar(select(func.sum(DayBlock.rows))) or 0


def test_acknowledged_rows_outlive_a_kill_and_others_are_told_to_wait(tmp_path: Path) -> None:
    database = Database(Settings(data_dir=tmp_path).url)
    database.migrate()
    gateways = make_gateways(database, count=4, now=utc_now(), days=30)
    sent = Sent()
    with Server(tmp_path, max_pushes=2) as server:
        server.start("--web-only")
        plan = Plan(port=server.port, gateways=gateways, rate_s=40, batches=120)
        maker = start(plan)
        wait_for(lambda: stored_rows(database) > 200)
        server.kill()
        killed = end(maker)
        sent.add(killed)
        sent.next_number = 30
        assert 0 < killed.statuses["200"] < 120
        assert lost_rows(database, gateways, sent.acknowledged) == 0
        server.start("--web-only")
        # Twelve at once where two may be inside.
        result, _ = load(server, gateways, sent, rate_s=1000, batches=12, comes_again=False)
    assert set(result.statuses) <= {"200", "429"}
    assert result.statuses["429"] > 0
    assert result.without_retry_after == 0
    assert lost_rows(database, gateways, sent.acknowledged) == 0
    # One that was never acknowledged counts as lost: the count sees what is not there.
    assert lost_rows(database, gateways, {0: [10_000]}) == 10
    database.close()
