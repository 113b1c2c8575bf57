"""Corrected logs: they replace what they cover, and undoing them restores it bit for bit."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import select
from starlette.testclient import TestClient

from service.db.models import ChannelSeen, DayBlock, DayLayer, DayRow, SiteReport
from tests.build_service import LOCAL, BackEnd, back_ends, tidy_log


@pytest.fixture(params=["sqlite", "postgres"])
def back(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path, request.param) as make:
        yield make()


@pytest.fixture
def client(back: BackEnd) -> Iterator[TestClient]:
    with TestClient(back.app(), base_url=LOCAL) as client:
        yield client


def contents(back: BackEnd) -> dict[str, object]:
    """Give everything that the reader of a report rests on."""
    with back.database.reading() as db:
        layers = select(DayLayer.day, DayLayer.upload_id, DayLayer.rows, DayLayer.replaced)
        return {
            "blocks": dict(map(tuple, db.execute(select(DayBlock.day, DayBlock.data)))),
            "hashes": dict(map(tuple, db.execute(select(DayBlock.day, DayBlock.values_hash)))),
            "layers": sorted(map(str, db.execute(layers))),
            "channels": sorted(db.scalars(select(ChannelSeen.channel))),
            "rows": {one.date: (one.row, one.numbers) for one in db.scalars(select(DayRow))},
            "report": list(db.scalars(select(SiteReport.report))),
        }


def hand_in(back: BackEnd, slug: str, text: str, name: str) -> int:
    number = back.hand_in(slug, text, name)
    back.worker().work_all()
    return number


FIRST = tidy_log(hours=120)
CORRECTED = tidy_log(first=datetime(2025, 6, 2, 6, tzinfo=UTC), hours=48, seed=7)
# Ten minutes rows of a clock three minutes ahead, with a channel that nothing else has.
SHIFTED = tidy_log(first=datetime(2025, 6, 3, 0, 3, tzinfo=UTC), hours=24, seed=8).replace(
    "t_ambient_c", "t_store_top_c"
)


@pytest.mark.parametrize("text", [CORRECTED, SHIFTED], ids=["other values", "other stamps"])
def test_undoing_a_corrected_log_restores_everything_bit_for_bit(
    back: BackEnd, client: TestClient, text: str
) -> None:
    slug = back.add_site()
    hand_in(back, slug, FIRST, "first.csv")
    before = contents(back)
    number = hand_in(back, slug, text, "corrected.csv")
    assert contents(back)["blocks"] != before["blocks"]
    assert contents(back)["report"] != before["report"]
    answer = client.post(f"/api/sites/{slug}/uploads/{number}/undo")
    assert answer.status_code == 200, answer.text
    assert answer.json()["state"] == "undone"
    back.worker().work_all()
    assert contents(back) == before


def test_an_undone_file_counts_again_when_it_is_wanted(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    hand_in(back, slug, FIRST, "first.csv")
    number = hand_in(back, slug, CORRECTED, "corrected.csv")
    after = contents(back)
    for again in (
        lambda: client.post(f"/api/sites/{slug}/uploads/{number}/redo"),
        lambda: back.hand_in(slug, CORRECTED, "renamed.csv"),
    ):
        assert client.post(f"/api/sites/{slug}/uploads/{number}/undo").is_success
        back.worker().work_all()
        assert contents(back)["blocks"] != after["blocks"]
        again()
        back.worker().work_all()
        assert contents(back) == after


def test_undoing_what_lies_beneath_changes_nothing_of_the_corrected_span(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    first = hand_in(back, slug, FIRST, "first.csv")
    hand_in(back, slug, CORRECTED, "corrected.csv")
    assert client.post(f"/api/sites/{slug}/uploads/{first}/undo").is_success
    back.worker().work_all()
    alone = contents(back)["blocks"]
    other = back.add_site("Other")
    assert client.delete(f"/api/sites/{slug}", params={"confirm": "Mill Lane 4"}).is_success
    hand_in(back, other, CORRECTED, "corrected.csv")
    with back.database.reading() as db:
        found = select(DayBlock.day, DayBlock.data).where(DayBlock.site_id == back.site_id(other))
        assert dict(map(tuple, db.execute(found))) == alone


def test_undoing_the_only_file_leaves_a_site_without_data(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    number = hand_in(back, slug, FIRST, "first.csv")
    assert client.post(f"/api/sites/{slug}/uploads/{number}/undo").is_success
    back.worker().work_all()
    assert not any(contents(back).values())
    assert client.post(f"/api/sites/{slug}/uploads/{number}/undo").is_success  # twice is once


def test_the_order_in_which_a_worker_reads_does_not_matter(back: BackEnd) -> None:
    from service.ingest.files import RawStore
    from service.ingest.settling import settle_upload
    from service.jobs import claims

    found = []
    for slug, order in (("mill-lane-4", (0, 1, 2)), ("mill-lane-4-2", (2, 0, 1))):
        assert back.add_site() == slug
        numbers = [back.hand_in(slug, text) for text in (FIRST, CORRECTED, SHIFTED)]
        worker = back.worker()
        for place in order:
            key = f"upload:{numbers[place]}"
            now = back.clock.now()
            with back.database.session() as db:
                until = now + timedelta(minutes=5)
                assert claims.claim(db, key=key, holder=worker.holder, now=now, until=until)
            settle_upload(
                back.database,
                raw=RawStore(back.settings.data_dir),
                settings=back.settings,
                clock=back.clock,
                upload_id=numbers[place],
                holder=worker.holder,
                key=key,
            )
        blocks = contents(back)["blocks"]
        assert blocks
        found.append(blocks)
        with back.database.session() as db:  # out of the way of the second round
            for row in db.scalars(select(DayBlock)):
                db.delete(row)
            for row in db.scalars(select(DayLayer)):
                db.delete(row)
        from service.db.models import Upload

        with back.database.session() as db:
            for upload in db.scalars(select(Upload)):
                upload.state = "refused"
    assert found[0] == found[1]


def test_the_list_says_what_is_in_force_and_what_replaced_it(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    first = hand_in(back, slug, FIRST, "first.csv")
    corrected = hand_in(back, slug, CORRECTED, "corrected.csv")
    shown = {one["id"]: one for one in client.get(f"/api/sites/{slug}/uploads").json()["uploads"]}
    assert shown[first]["replaced"] == [
        {"upload_id": corrected, "name": "corrected.csv", "rows": 288}
    ]
    assert shown[corrected]["replaced"] == []
    assert shown[first]["sha256"] != shown[corrected]["sha256"]
    assert shown[corrected]["first_s"] == int(datetime(2025, 6, 2, 6, 10, tzinfo=UTC).timestamp())


def test_a_gateways_rows_cannot_be_undone_and_strangers_undo_nothing(
    back: BackEnd, client: TestClient
) -> None:
    slug, other = back.add_site(), back.add_site("Other")
    key = back.add_key(slug)
    rows = {"rows": [{"time": "2025-06-01T12:00:00Z", "t_collector_c": 61.2}]}
    answer = client.post(
        f"/api/sites/{slug}/rows", json=rows, headers={"Authorization": f"Bearer {key}"}
    )
    assert answer.is_success
    (upload,) = client.get(f"/api/sites/{slug}/uploads").json()["uploads"]
    assert client.post(f"/api/sites/{slug}/uploads/{upload['id']}/undo").status_code == 409
    number = hand_in(back, slug, FIRST, "first.csv")
    assert client.post(f"/api/sites/{other}/uploads/{number}/undo").status_code == 404


def test_rows_stored_before_there_were_layers_stay_beneath(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    hand_in(back, slug, FIRST, "first.csv")
    with back.database.session() as db:
        for row in db.scalars(select(DayLayer)):
            db.delete(row)
    before = contents(back)["blocks"]
    number = hand_in(back, slug, CORRECTED, "corrected.csv")
    assert contents(back)["blocks"] != before
    assert client.post(f"/api/sites/{slug}/uploads/{number}/undo").is_success
    assert contents(back)["blocks"] == before
