"""The gateway's batch endpoint: keys, idempotence, late rows, all or nothing."""

import asyncio
import json
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from httpx2 import Response
from sqlalchemy import select, text
from sqlalchemy.exc import OperationalError
from sqlalchemy.orm import Session
from starlette.testclient import TestClient

from service import app as app_module
from service.accounts.secrets import hashed
from service.db.engine import Database
from service.db.models import ApiKey, ChannelSeen, DayBlock, DayLayer, DayMark, Upload
from service.errors import (
    ConflictError,
    InvalidError,
    NotFoundError,
    ServiceError,
    SignedOutError,
)
from service.ingest import push_endpoints
from service.ingest.batches import Batch, store_batches
from service.ingest.gate import Gate
from service.ingest.places import Places
from service.ingest.schemas import Pushed
from service.sites.queries import locked_site
from tests.build_service import LOCAL, BackEnd, back_ends, tidy_log


@pytest.fixture(params=["sqlite", "postgres"])
def back(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path, request.param) as make:
        yield make(push_settle_s=60)


@pytest.fixture
def client(back: BackEnd) -> Iterator[TestClient]:
    with TestClient(back.app(), base_url=LOCAL) as client:
        yield client


def rows_of(log: str) -> list[dict]:
    head, *lines = log.splitlines()
    names = head.split(",")[1:]
    return [
        {
            "time": line.split(",")[0],
            **dict(zip(names, map(float, line.split(",")[1:]), strict=True)),
        }
        for line in lines
    ]


def push(client: TestClient, slug: str, key: str | None, rows: list[dict]):
    headers = {"authorization": f"Bearer {key}"} if key else {}
    return client.post(f"/api/sites/{slug}/rows", json={"rows": rows}, headers=headers)


def blocks(back: BackEnd) -> list[tuple]:
    with back.database.reading() as db:
        return sorted(map(tuple, db.execute(select(DayBlock.day, DayBlock.data))))


ROWS = rows_of(tidy_log(hours=24))
ALL_TAKEN = {"left_out": 0, "why": None}


@pytest.mark.parametrize("key", [None, "sk_wrong", ""])
def test_without_the_sites_key_nothing_is_taken(
    back: BackEnd, client: TestClient, key: str | None
) -> None:
    slug = back.add_site()
    back.add_key(slug)
    answer = push(client, slug, key, ROWS[:3])
    assert answer.status_code == 401
    assert answer.headers["content-type"] == "application/problem+json"
    assert "Bearer" in answer.json()["detail"]
    assert blocks(back) == []


def test_another_sites_key_finds_no_such_site(back: BackEnd, client: TestClient) -> None:
    mill, farm = back.add_site("Mill"), back.add_site("Farm")
    assert push(client, mill, back.add_key(farm), ROWS[:3]).status_code == 404
    assert blocks(back) == []


def test_a_revoked_key_opens_nothing(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    made = client.post(f"/api/sites/{slug}/keys", json={"label": "attic"}).json()
    assert push(client, slug, made["key"], ROWS[:1]).status_code == 200
    assert client.delete(f"/api/sites/{slug}/keys/{made['id']}").status_code == 204
    assert push(client, slug, made["key"], ROWS[1:2]).status_code == 401


def test_a_key_is_shown_once_and_kept_as_a_hash(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    made = client.post(f"/api/sites/{slug}/keys").json()
    (listed,) = client.get(f"/api/sites/{slug}/keys").json()
    assert "key" not in listed
    with back.database.reading() as db:
        (key,) = db.scalars(select(ApiKey))
        assert made["key"] not in key.key_hash
        assert len(key.key_hash) == 64


def test_batches_are_stored_when_the_answer_comes(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    answer = push(client, slug, back.add_key(slug), ROWS)
    assert answer.json() == {"accepted": 144, "new": 144, "changed": 0} | ALL_TAKEN
    with back.database.reading() as db:
        assert sum(db.scalars(select(DayBlock.rows))) == 144


def test_a_batch_sent_again_changes_nothing(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    key = back.add_key(slug)
    push(client, slug, key, ROWS)
    back.clock.move(minutes=2)
    back.worker().work_all()
    before = blocks(back)
    again = push(client, slug, key, ROWS).json()
    assert again == {"accepted": 144, "new": 0, "changed": 0} | ALL_TAKEN
    assert blocks(back) == before
    with back.database.reading() as db:
        assert list(db.scalars(select(DayMark.date))) == []


def test_any_order_of_batches_gives_the_same_store(back: BackEnd, client: TestClient) -> None:
    one, two = back.add_site("One"), back.add_site("Two")
    keys = back.add_key(one), back.add_key(two)
    batches = [ROWS[first : first + 10] for first in range(0, 80, 10)]
    for batch in batches:
        push(client, one, keys[0], batch)
    for batch in [batches[n] for n in (5, 0, 7, 2, 5, 1, 6, 3, 4)]:
        push(client, two, keys[1], batch[::-1])
    with back.database.reading() as db:
        first, second = (
            [
                tuple(row)
                for row in db.execute(
                    select(DayBlock.day, DayBlock.data)
                    .where(DayBlock.site_id == back.site_id(slug))
                    .order_by(DayBlock.day)
                )
            ]
            for slug in (one, two)
        )
    assert first == second


def test_one_bad_row_refuses_the_batch_as_a_whole(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    bad = [*ROWS[:5], {**ROWS[5], "flow_l_min": "a lot"}]
    answer = push(client, slug, back.add_key(slug), bad)
    assert answer.status_code == 422
    problem = answer.json()
    assert (problem["row"], problem["field"]) == (6, "flow_l_min")
    assert "a lot" in problem["detail"]
    assert blocks(back) == []


def test_a_later_value_for_a_time_is_a_change(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    key = back.add_key(slug)
    push(client, slug, key, ROWS[:10])
    answer = push(client, slug, key, [{**ROWS[3], "flow_l_min": 1.234}, ROWS[4]])
    assert answer.json() == {"accepted": 2, "new": 0, "changed": 1} | ALL_TAKEN


def test_another_sites_day_is_refused(back: BackEnd, client: TestClient) -> None:
    mill, farm = back.add_site("Mill"), back.add_site("Farm")
    push(client, mill, back.add_key(mill), ROWS)
    answer = push(client, farm, back.add_key(farm), ROWS)
    assert answer.status_code == 409
    assert "“Mill”" in answer.json()["detail"]


def test_pushed_rows_gather_before_their_day_is_analysed(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    key = back.add_key(slug)
    push(client, slug, key, ROWS[:70])
    worker = back.worker()
    assert not worker.work_once()
    back.clock.move(seconds=40)
    push(client, slug, key, ROWS[70:])
    back.clock.move(seconds=21)
    assert worker.work_once()
    assert client.get(f"/api/sites/{slug}/report").json()["rows"]["kept"] == 144


def test_pushed_rows_and_an_upload_of_the_same_log_are_one(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    push(client, slug, back.add_key(slug), ROWS[:50])
    back.hand_in(slug, tidy_log(hours=24))
    assert back.worker().work_once()
    with back.database.reading() as db:
        upload = db.scalar(select(Upload).where(Upload.via == "api"))
        assert (upload.rows_kept, upload.rows_duplicate) == (94, 50)


def test_a_gateway_key_reads_its_site_only(back: BackEnd, client: TestClient) -> None:
    mill, farm = back.add_site("Mill"), back.add_site("Farm")
    headers = {"authorization": f"Bearer {back.add_key(mill)}"}
    assert client.get(f"/api/sites/{mill}/uploads", headers=headers).status_code == 200
    assert client.get(f"/api/sites/{farm}/uploads", headers=headers).status_code == 404
    assert client.get("/api/sites", headers=headers).status_code == 403
    assert client.put(f"/api/sites/{mill}/file", content="x", headers=headers).status_code == 403


def test_rows_from_the_future_name_the_clock(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    rows = rows_of(tidy_log(first=datetime(2025, 7, 1, tzinfo=UTC), hours=1))
    answer = push(client, slug, back.add_key(slug), rows)
    assert answer.status_code == 422
    assert "clock" in answer.json()["detail"]


def test_who_comes_beyond_what_can_be_stored_is_told_when_to_come_again(
    back: BackEnd, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While one batch is being stored, and only then, others are turned away unread."""
    slug = back.add_site()
    key = back.add_key(slug)
    app = replace(back, settings=back.settings.model_copy(update={"max_pushes": 1})).app()
    with TestClient(app, base_url=LOCAL) as client:
        turned: list[Response] = []
        store = app_module.store_batches

        def meanwhile(*given: object, **more: object) -> object:
            turned.append(push(client, slug, key, ROWS[2:4]))
            return store(*given, **more)

        with monkeypatch.context() as patched:
            patched.setattr(app_module, "store_batches", meanwhile)
            assert push(client, slug, key, ROWS[:2]).json()["new"] == 2
        (refused,) = turned
        assert refused.status_code == 429
        assert refused.headers["content-type"] == "application/problem+json"
        assert 5 <= int(refused.headers["retry-after"]) <= 30
        assert refused.json()["retry_after_s"] == int(refused.headers["retry-after"])
        assert push(client, slug, key, ROWS[2:4]).json()["new"] == 2


def test_whoever_has_no_key_keeps_no_gateway_out(
    back: BackEnd, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However large a body they announce, and for whichever site."""
    slug = back.add_site()
    key = back.add_key(slug)
    app = replace(back, settings=back.settings.model_copy(update={"max_pushes": 20})).app()
    asked = push_endpoints._gateway_site_id
    told: list[int] = []
    coming = 10
    with TestClient(app, base_url=LOCAL) as client:
        assert push(client, slug, key, ROWS[:2]).status_code == 200

        def ask(*given: Any) -> int:
            # While it is asked for one, the next comes: nine of them, then a gateway.
            nonlocal coming
            coming -= 1
            told.append(send("sk_wrong" if coming else key))
            return asked(*given)

        def send(shown: str) -> int:
            rows = json.dumps({"rows": ROWS[2:4]}).encode()
            return client.post(
                f"/api/sites/{slug}/rows",
                content=rows + b" " * (8 * 2**20 - len(rows)),
                headers={"authorization": f"Bearer {shown}"},
            ).status_code

        monkeypatch.setattr(push_endpoints, "_gateway_site_id", ask)
        assert send("sk_wrong") == 401
    assert told == [200] + [401] * 9


def test_who_sends_slowly_gives_the_place_to_who_comes(back: BackEnd) -> None:
    """At the address itself: one half of a body, then silence."""
    app = replace(back, settings=back.settings.model_copy(update={"max_pushes": 1})).app()
    app.state.places = Places(1, patience_s=0.05)
    slug = back.add_site()
    key = back.add_key(slug)
    body = json.dumps({"rows": ROWS[:2]}).encode()

    async def request(*parts: bytes) -> int:
        """Send parts of the body, and no more; gives the status."""
        messages = [{"type": "http.request", "body": part, "more_body": True} for part in parts]
        messages[-1]["more_body"] = b"".join(parts) != body
        told: list[int] = []
        silent = False

        async def receive() -> dict[str, object]:
            nonlocal silent
            if messages:
                return messages.pop(0)
            if silent:
                return {"type": "http.disconnect"}
            silent = True
            await asyncio.sleep(3600)
            raise AssertionError

        async def send(message: dict[str, object]) -> None:
            if message["type"] == "http.response.start":
                told.append(int(str(message["status"])))

        headers = {
            "host": "127.0.0.1",
            "authorization": f"Bearer {key}",
            "content-length": str(len(body)),
        }
        await app(
            {
                "type": "http", "http_version": "1.1", "method": "POST", "scheme": "http",
                "path": f"/api/sites/{slug}/rows", "query_string": b"", "root_path": "",
                "headers": [(name.encode(), value.encode()) for name, value in headers.items()],
                "server": ("127.0.0.1", 80), "client": ("127.0.0.1", 1),
            },
            receive,
            send,
        )  # fmt: skip
        return told[0]

    async def morning() -> tuple[int, int, int]:
        slow = asyncio.create_task(request(body[:10]))
        await asyncio.sleep(0.02)
        early = await request(body)
        await asyncio.sleep(0.2)
        late = await request(body[:10], body[10:])
        return early, late, await slow

    assert asyncio.run(morning()) == (429, 200, 408)


def batch_of(back: BackEnd, slug: str, key: str, rows: list[dict]) -> Batch:
    return Batch(slug=slug, key_hash=hashed(key), body=json.dumps({"rows": rows}).encode())


def test_batches_that_wait_are_written_together_and_a_failing_one_keeps_none_back(
    back: BackEnd, monkeypatch: pytest.MonkeyPatch
) -> None:
    slug = back.add_site()
    key = back.add_key(slug)
    bad = [{**ROWS[6], "flow_l_min": "a lot"}]
    batches = [
        batch_of(back, slug, key, bad if number == 3 else ROWS[2 * number : 2 * number + 2])
        for number in range(7)
    ]
    begun: list[int] = []
    opened = Database.session

    def counting(self: Database):
        begun.append(1)
        return opened(self)

    def write(db: Session, some: list[Batch]) -> list[Pushed | ServiceError]:
        told = store_batches(db, some, now=back.clock.now(), settle_s=0)
        if batches[4] in some:
            raise ZeroDivisionError
        return told

    async def all_at_once(numbers: range) -> list[Pushed | BaseException]:
        gate = Gate(back.database, write=write)
        given = (gate.store(batches[number]) for number in numbers)
        return await asyncio.gather(*given, return_exceptions=True)

    with monkeypatch.context() as patched:
        patched.setattr(Database, "session", counting)
        told = asyncio.run(all_at_once(range(4)))
    assert [type(one) for one in told] == [Pushed, Pushed, Pushed, InvalidError]
    assert len(begun) == 1  # all in one transaction
    told = asyncio.run(all_at_once(range(4, 7)))
    assert [type(one) for one in told] == [ZeroDivisionError, Pushed, Pushed]
    told = asyncio.run(all_at_once(range(6, 3, -1)))
    assert [type(one) for one in told] == [Pushed, Pushed, ZeroDivisionError]
    with back.database.reading() as db:
        upload = db.scalars(select(Upload)).one()
        assert (upload.rows_read, upload.rows_kept, upload.rows_duplicate) == (14, 10, 4)
        assert db.scalars(select(DayBlock.rows)).one() == 10


def test_a_database_that_does_not_answer_is_not_waited_for_by_each_in_turn(back: BackEnd) -> None:
    """Each wait is half a minute; whoever comes behind a group would wait for all of them."""
    asked: list[int] = []

    def write(_db: Session, some: list[int]) -> list[Pushed | ServiceError]:
        asked.append(len(some))
        if len(asked) <= 2:
            raise OperationalError("BEGIN IMMEDIATE", None, Exception("database is locked"))
        return [Pushed(accepted=one, new=0, changed=0) for one in some]

    async def crowd() -> list[Pushed | BaseException]:
        gate = Gate(back.database, write=write)
        told = await asyncio.gather(*(gate.store(one) for one in range(8)), return_exceptions=True)
        return [*told, await gate.store(8)]

    told = asyncio.run(crowd())
    assert [type(one) for one in told] == [OperationalError] * 8 + [Pushed]
    assert asked == [8, 1, 1]


def stored(back: BackEnd, slug: str) -> list[tuple]:
    """Give all that a site's batches left, without the numbers that differ between sites."""
    site_id = back.site_id(slug)
    with back.database.reading() as db:
        asked = {
            DayBlock: (DayBlock.day, DayBlock.rows, DayBlock.data, DayBlock.values_hash),
            DayLayer: (DayLayer.day, DayLayer.rows, DayLayer.data, DayLayer.pushed),
            DayMark: (DayMark.date, DayMark.due_at),
            ChannelSeen: (ChannelSeen.channel,),
            Upload: (
                Upload.rows_read, Upload.rows_kept, Upload.rows_duplicate, Upload.size_bytes,
            ),
        }  # fmt: skip
        return [
            sorted(map(repr, db.execute(select(*columns).where(table.site_id == site_id))))
            for table, columns in asked.items()
        ]


def test_batches_written_together_give_what_they_give_one_by_one(back: BackEnd) -> None:
    """With other sites' between them, over midnight, sent again, and one that is refused."""
    now = back.clock.now()
    whole = rows_of(tidy_log(first=datetime(2025, 6, 18, 23, tzinfo=UTC), hours=20))
    cuts = [whole[first : first + 7] for first in (0, 14, 7, 0, 28, 21, 35, 3)]
    told: dict[str, list[tuple[int, int, int]]] = {}
    slugs = back.add_site("Alone"), back.add_site("Together")
    other = back.add_site("Other")
    keys = {slug: back.add_key(slug) for slug in (*slugs, other)}
    elsewhere = [[{**row, "t_collector_c": 3.0} for row in cut] for cut in cuts]
    for cut in cuts:
        with back.database.session() as db:
            (one,) = store_batches(
                db, [batch_of(back, slugs[0], keys[slugs[0]], cut)], now=now, settle_s=5
            )
        told.setdefault(slugs[0], []).append(one)
    mixed = [
        batch_of(back, slug, keys[slug], rows)
        for pair in zip(cuts, elsewhere, strict=True)
        for slug, rows in zip((slugs[1], other), pair, strict=True)
    ]
    mixed.insert(3, batch_of(back, slugs[1], keys[other], cuts[0]))
    mixed.insert(5, batch_of(back, slugs[1], "sk_wrong", cuts[0]))
    with back.database.session() as db:
        answers = store_batches(db, mixed, now=now, settle_s=5)
    assert [type(answers[3]), type(answers[5])] == [NotFoundError, SignedOutError]
    del answers[5], answers[3]
    assert answers[::2] == told[slugs[0]]
    assert stored(back, slugs[1]) == stored(back, slugs[0])
    assert stored(back, other)[1:4] == stored(back, slugs[0])[1:4]


def test_two_sites_with_one_day_are_told_apart_within_one_write(back: BackEnd) -> None:
    mill, farm = back.add_site("Mill"), back.add_site("Farm")
    batches = [batch_of(back, slug, back.add_key(slug), ROWS) for slug in (mill, farm)]
    with back.database.session() as db:
        first, second = store_batches(db, batches, now=back.clock.now(), settle_s=5)
    assert isinstance(first, Pushed)
    assert isinstance(second, ConflictError)
    assert "“Mill”" in second.detail
    with back.database.reading() as db:
        assert set(db.scalars(select(DayBlock.site_id))) == {back.site_id(mill)}
        assert set(db.scalars(select(Upload.site_id))) == {back.site_id(mill)}


def test_two_sites_with_one_day_are_told_apart_by_two_writers_at_once(tmp_path: Path) -> None:
    """On SQLite there is one writer at a time."""
    told: list[Pushed | ServiceError] = []
    with back_ends(tmp_path, "postgres") as make:
        back = make()
        mill, farm, home = back.add_site("Mill"), back.add_site("Farm"), back.add_site("Home")
        first, second = (batch_of(back, slug, back.add_key(slug), ROWS) for slug in (mill, farm))
        # A few rows of a day that is there already wait for nobody.
        elsewhere = [{**row, "t_collector_c": row["t_collector_c"] + 1.0} for row in ROWS]
        key = back.add_key(home)
        begun, later = (
            batch_of(back, home, key, rows) for rows in (elsewhere[:100], elsewhere[80:])
        )

        def push(*batches: Batch) -> None:
            with back.database.session() as db:
                told.extend(store_batches(db, batches, now=back.clock.now(), settle_s=0))

        push(begun)
        other = threading.Thread(target=push, args=(second,))
        with back.database.session() as db:
            (one,) = store_batches(db, [first], now=back.clock.now(), settle_s=0)
            other.start()
            while other.is_alive() and not waits_for_a_lock(back):
                time.sleep(0.01)
            aside = threading.Thread(target=push, args=(later,))
            aside.start()
            aside.join(timeout=60)
            in_time = not aside.is_alive()
        other.join()
        aside.join()
    assert in_time
    assert [type(one), *map(type, told)] == [Pushed, Pushed, Pushed, ConflictError]
    assert "“Mill”" in told[-1].detail


def test_a_key_that_another_process_withdraws_stores_nothing_more(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    key = back.add_key(slug)
    assert push(client, slug, key, ROWS[:1]).status_code == 200
    with back.database.session() as db:
        db.scalars(select(ApiKey)).one().revoked_at = back.clock.now()
    for _ in range(2):
        assert push(client, slug, key, ROWS[1:2]).status_code == 401
    with back.database.reading() as db:
        assert db.scalars(select(DayBlock.rows)).one() == 1


def test_a_key_that_is_withdrawn_while_its_batch_waits_stores_nothing(tmp_path: Path) -> None:
    """On SQLite nobody can withdraw it meanwhile."""
    told: list[Pushed | ServiceError] = []
    with back_ends(tmp_path, "postgres") as make:
        back = make()
        slug = back.add_site()
        batch = batch_of(back, slug, back.add_key(slug), ROWS[:3])

        def push() -> None:
            with back.database.session() as db:
                told.extend(store_batches(db, [batch], now=back.clock.now(), settle_s=0))

        waiting = threading.Thread(target=push)
        with back.database.session() as large:
            locked_site(large, back.site_id(slug))  # a log that takes its time
            waiting.start()
            while waiting.is_alive() and not waits_for_a_lock(back):
                time.sleep(0.01)
            with back.database.session() as db:
                db.scalars(select(ApiKey)).one().revoked_at = back.clock.now()
        waiting.join()
        assert [type(one) for one in told] == [SignedOutError]
        assert blocks(back) == []


def waits_for_a_lock(back: BackEnd) -> bool:
    with back.database.reading() as db:
        return bool(
            db.scalar(
                text(
                    "SELECT count(*) FROM pg_stat_activity WHERE wait_event_type = 'Lock' "
                    "AND datname = current_database()"
                )
            )
        )


def test_whoever_waits_is_answered_with_those_that_were_written_with_them(back: BackEnd) -> None:
    """Not after those that came later; these are written together in turn."""
    groups: list[int] = []

    def write(_db: Session, some: list[int]) -> list[Pushed | ServiceError]:
        groups.append(len(some))
        return [Pushed(accepted=number, new=0, changed=0) for number in some]

    async def senders() -> list[int]:
        gate = Gate(back.database, write=write)
        answered: list[int] = []

        async def sender(first: int) -> None:
            for number in range(first, first + 3):
                told = await gate.store(number)
                answered.append(told.accepted)

        await asyncio.gather(*(sender(10 * one) for one in range(12)))
        return answered

    answered = asyncio.run(senders())
    assert answered == [10 * one + turn for turn in range(3) for one in range(12)]
    assert groups == [12, 12, 12]
