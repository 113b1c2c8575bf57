"""Uploads over HTTP: kept at once, read by the worker, refused as a whole or stored as a whole."""

import gzip
import io
import zipfile
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import func, select
from starlette.testclient import TestClient

from service.db.models import DayBlock, DayMark, Upload
from tests.build_service import LOCAL, BackEnd, back_ends, site_file, tidy_log


@pytest.fixture(params=["sqlite", "postgres"])
def back(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path, request.param) as make:
        yield make()


@pytest.fixture
def client(back: BackEnd) -> Iterator[TestClient]:
    with TestClient(back.app(), base_url=LOCAL) as client:
        yield client


def send(client: TestClient, slug: str, content: str | bytes, name: str = "log.csv") -> dict:
    answer = client.post(f"/api/sites/{slug}/logs", params={"name": name}, content=content)
    assert answer.status_code in (200, 202), answer.text
    (upload,) = answer.json()["uploads"]
    return upload


def state(client: TestClient, upload: dict) -> dict:
    return client.get(upload["status_url"]).json()


def stored(back: BackEnd) -> tuple[int, int]:
    """Give how many blocks and rows are stored, deleted sites included."""
    with back.database.reading() as db:
        return db.execute(select(func.count(), func.coalesce(func.sum(DayBlock.rows), 0))).one()


def fingerprint(back: BackEnd) -> list[tuple]:
    with back.database.reading() as db:
        blocks = db.execute(select(DayBlock.site_id, DayBlock.day, DayBlock.data)).all()
        marks = db.execute(select(DayMark.site_id, DayMark.date, DayMark.serial)).all()
        return sorted(map(tuple, blocks)) + sorted(map(tuple, marks))


def test_a_log_is_kept_at_once_and_stored_by_the_worker(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    upload = send(client, slug, tidy_log(hours=48))
    assert (upload["state"], upload["rows"]["read"]) == ("kept", 0)
    assert client.get(f"/api/sites/{slug}/uploads").json()["pending"] == "reading"
    assert back.worker().work_once()
    upload = state(client, upload)
    assert upload["state"] == "stored"
    assert upload["rows"] == {"read": 288, "kept": 288, "duplicate": 0, "rejected": 0}
    assert upload["files"][0]["rows"] == 288
    assert client.get(f"/api/sites/{slug}/uploads").json()["pending"] == "analysing"


def test_several_files_of_a_form_are_uploads_of_their_own(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    later = tidy_log(first=datetime(2025, 6, 3, tzinfo=UTC), hours=24)
    answer = client.post(
        f"/api/sites/{slug}/logs",
        files=[
            ("logs", ("one.csv", tidy_log(hours=48).encode())),
            ("logs", ("two.csv.gz", gzip.compress(later.encode()))),
        ],
    )
    assert answer.status_code == 202
    assert [upload["name"] for upload in answer.json()["uploads"]] == ["one.csv", "two.csv.gz"]
    back.worker().work_all()
    shown = client.get(f"/api/sites/{slug}/uploads").json()
    assert [upload["state"] for upload in shown["uploads"]] == ["stored", "stored"]
    assert stored(back)[1] == 432


def test_an_archive_of_several_logs_is_one_upload(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("a.csv", tidy_log(hours=24))
        archive.writestr("b.csv", tidy_log(first=datetime(2025, 6, 2, tzinfo=UTC), hours=24))
    upload = send(client, slug, packed.getvalue(), "both.zip")
    back.worker().work_once()
    assert state(client, upload)["rows"]["kept"] == 288


def test_the_same_bytes_again_get_the_first_answer_and_change_nothing(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    log = tidy_log(hours=48)
    first = send(client, slug, log)
    back.worker().work_all()
    before = fingerprint(back)
    again = send(client, slug, log, "renamed.csv")
    assert again == state(client, first)
    back.worker().work_all()
    assert fingerprint(back) == before


def test_a_later_log_of_other_values_says_that_it_replaced_some(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    first = tidy_log(hours=24)
    send(client, slug, first)
    back.worker().work_all()
    lines = first.splitlines()
    cells = lines[5].split(",")
    lines[5] = ",".join([cells[0], "33.25", *cells[2:]])
    upload = send(client, slug, "\n".join(lines), name="later.csv")
    back.worker().work_all()
    message = state(client, upload)["message"]
    assert "1 row differs from what was stored" in message
    assert "undoing this file brings it back" in message


def test_rows_known_already_count_as_duplicates_and_mark_nothing(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    log = tidy_log(hours=48)
    send(client, slug, log)
    back.worker().work_all()
    before = fingerprint(back)
    upload = send(client, slug, "\r\n".join(log.splitlines()[:145]) + "\r\n")
    assert back.worker().work_once()
    assert state(client, upload)["rows"] == {
        "read": 144,
        "kept": 0,
        "duplicate": 144,
        "rejected": 0,
    }
    assert fingerprint(back) == before


def test_only_days_that_changed_and_their_neighbours_are_marked(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    send(client, slug, tidy_log(hours=240))
    back.worker().work_all()
    head, row = tidy_log(first=datetime(2025, 6, 5, 12, tzinfo=UTC), seed=9).splitlines()[:2]
    send(client, slug, f"{head}\n{row}\n")
    assert back.worker().work_once()
    with back.database.reading() as db:
        days = sorted(str(day) for day in db.scalars(select(DayMark.date)))
    assert days == ["2025-06-04", "2025-06-05", "2025-06-06"]


def test_a_channel_never_seen_before_marks_every_day(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    send(client, slug, tidy_log(hours=120, without=frozenset({"g_plane_w_m2"})))
    back.worker().work_all()
    head, row = tidy_log(first=datetime(2025, 6, 5, 12, tzinfo=UTC)).splitlines()[:2]
    send(client, slug, f"{head}\n{row}\n")
    assert back.worker().work_once()
    with back.database.reading() as db:
        days = set(map(str, db.scalars(select(DayMark.date))))
    assert {f"2025-06-0{day}" for day in range(1, 7)} <= days


REFUSED = {
    "empty": b"",
    "rubbish": bytes(range(256)) * 40,
    "no time": b"t_collector_c\n61\n62\n",
    "future": tidy_log(first=datetime(2027, 6, 1, tzinfo=UTC), hours=24).encode(),
    "cut-off archive": gzip.compress(tidy_log(hours=24).encode())[:-40],
    "no archive": b"PK\x03\x04 is no archive",
}


@pytest.mark.parametrize("kind", REFUSED)
def test_what_cannot_be_read_is_refused_with_one_message_and_nothing_stored(
    back: BackEnd, client: TestClient, kind: str
) -> None:
    slug = back.add_site()
    name = "log.csv.gz" if kind == "cut-off archive" else "log.csv"
    upload = send(client, slug, REFUSED[kind], "log.zip" if kind == "no archive" else name)
    back.worker().work_all()
    upload = state(client, upload)
    assert upload["state"] == "refused"
    assert len(upload["message"]) > 20
    assert "Traceback" not in upload["message"]
    assert upload["rows"] == {"read": 0, "kept": 0, "duplicate": 0, "rejected": 0}
    assert stored(back) == (0, 0)


def test_a_log_whose_sun_does_not_fit_the_place_is_asked_and_not_stored(
    back: BackEnd, client: TestClient
) -> None:
    here, far = back.add_site(), back.add_site(text=site_file("Far").replace("= 11.0", "= -100.0"))
    log = tidy_log(hours=240)
    fits, misfits = send(client, here, log), send(client, far, tidy_log(hours=240, seed=2))
    back.worker().work_all()
    assert state(client, fits)["state"] == "stored"
    held = state(client, misfits)
    assert (held["state"], held["rows"]["kept"]) == ("asking", 0)
    assert "sun" in held["message"]
    assert "log of another site" in held["message"]


def test_a_log_that_nobody_explains_waits_and_is_read_once_the_site_file_says_how(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    log = tidy_log(hours=24).replace("t_collector_c", "S1").replace("flow_l_min", "V")
    columns = [head for head in log.splitlines()[0].split(",") if head not in ("time", "S1")]
    bare = log.replace(",".join(columns), ",".join(f"x{n}" for n in range(len(columns))))
    upload = send(client, slug, bare)
    back.worker().work_all()
    assert state(client, upload)["state"] == "asking"
    assert "waits for an answer" in state(client, upload)["message"]
    assert stored(back) == (0, 0)
    text = site_file() + '[log.columns]\n"S1" = { channel = "collector", unit = "C" }\n'
    assert client.put(f"/api/sites/{slug}/file", content=text).status_code == 200
    assert state(client, upload)["state"] == "kept"
    back.worker().work_all()
    assert state(client, upload)["state"] == "stored"


def test_bytes_of_another_site_are_refused_by_its_name(back: BackEnd, client: TestClient) -> None:
    mill, farm = back.add_site("Mill Lane 4"), back.add_site("Farm Road 9")
    log = tidy_log(hours=48)
    send(client, mill, log)
    back.worker().work_all()
    before = fingerprint(back)
    upload = send(client, farm, log)
    back.worker().work_all()
    upload = state(client, upload)
    assert upload["state"] == "refused"
    assert "already stored for “Mill Lane 4”" in upload["message"]
    assert "Farm Road 9" in upload["message"]
    assert fingerprint(back) == before


def test_values_of_another_site_are_refused_however_they_are_written(
    back: BackEnd, client: TestClient
) -> None:
    mill, farm = back.add_site("Mill Lane 4"), back.add_site("Farm Road 9")
    lines = tidy_log(hours=72).splitlines()
    send(client, mill, "\n".join(lines))
    back.worker().work_all()
    before = fingerprint(back)
    head = lines[0].split(",")
    order = [0, *reversed(range(1, len(head)))]
    shuffled = "\n".join(",".join(line.split(",")[n] for n in order) for line in lines[:200])
    upload = send(client, farm, shuffled)
    back.worker().work_all()
    upload = state(client, upload)
    assert upload["state"] == "refused"
    assert "already stored for “Mill Lane 4”" in upload["message"]
    assert fingerprint(back) == before


def test_another_firms_site_is_never_named(back: BackEnd, client: TestClient) -> None:
    from service.db.models import Firm, Site

    mill, farm = back.add_site("Mill Lane 4"), back.add_site("Farm Road 9")
    send(client, mill, tidy_log(hours=48))
    back.worker().work_all()
    with back.database.session() as db:
        other = Firm(name="Others", created_at=back.clock.now())
        db.add(other)
        db.flush()
        site = db.get(Site, back.site_id(mill))
        assert site is not None
        site.firm_id = other.id
    assert client.get(f"/api/sites/{mill}/uploads").status_code == 404
    upload = send(client, farm, tidy_log(hours=48))
    back.worker().work_all()
    message = state(client, upload)["message"]
    assert "another installation" in message
    assert "Mill" not in message


def test_a_deleted_sites_log_may_be_handed_in_elsewhere(back: BackEnd, client: TestClient) -> None:
    mill, farm = back.add_site("Mill Lane 4"), back.add_site("Farm Road 9")
    send(client, mill, tidy_log(hours=48))
    back.worker().work_all()
    assert client.delete(f"/api/sites/{mill}", params={"confirm": "Mill Lane 4"}).is_success
    upload = send(client, farm, tidy_log(hours=48))
    back.worker().work_all()
    assert state(client, upload)["state"] == "stored"


def test_rejected_lines_are_listed_and_the_rest_is_stored(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    lines = tidy_log(hours=24).splitlines()
    lines[10] = "not a time" + lines[10][lines[10].index(",") :]
    upload = send(client, slug, "\n".join(lines))
    back.worker().work_all()
    upload = state(client, upload)
    assert upload["rows"] == {"read": 144, "kept": 143, "duplicate": 0, "rejected": 1}
    assert upload["problems"][0]["line"] == 11


def test_a_failed_merge_leaves_nothing(back: BackEnd, client: TestClient, monkeypatch) -> None:
    slug = back.add_site()
    upload = send(client, slug, tidy_log(hours=72))
    from service.ingest import storing

    def broken(*_args: object, **_more: object) -> None:
        raise RuntimeError("disk full")

    monkeypatch.setattr(storing, "_mark", broken)
    worker = back.worker()
    worker.work_all()
    assert stored(back) == (0, 0)
    assert state(client, upload)["state"] == "kept"
    monkeypatch.undo()
    back.clock.move(minutes=3)
    worker.work_all()
    assert state(client, upload)["state"] == "stored"


def test_a_body_too_large_is_refused_before_it_is_read(tmp_path: Path) -> None:
    with back_ends(tmp_path) as make:
        back = make(max_upload_mib=1)
        slug = back.add_site()
        big = b"x" * (1024 * 1024 + 1)
        with TestClient(back.app(), base_url=LOCAL) as client:
            told = client.post(f"/api/sites/{slug}/logs", content=big)
            untold = client.post(f"/api/sites/{slug}/logs", content=iter([big[:-9], big[-9:]]))
        assert (told.status_code, untold.status_code) == (413, 413)
        assert "1 MiB" in told.json()["detail"]
        with back.database.reading() as db:
            assert db.scalar(select(func.count(Upload.id))) == 0
        assert not [p for p in (back.settings.data_dir / "uploads").rglob("*") if p.is_file()]
