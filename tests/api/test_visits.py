"""Visits: listing, planning, saving once, finishing into facts and lives, photos, the record."""

import io
import uuid
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
from PIL import Image
from starlette.testclient import TestClient

from analysis.sitefile import parse_site
from dashboards.links import finding_key
from service.db.models import Site, VisitEntry, VisitSave
from tests.api.test_care import FIRST, open_sensor_log, site_with_finding
from tests.build_service import LOCAL, BackEnd, back_ends, site_file
from tests.build_visits import (
    AFTER,
    STANDING,
    TUBES,
    a_located_photo,
    a_photo,
    a_save,
    with_report,
)

TODAY = "2026-01-01"


@pytest.fixture
def back(tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path) as make:
        back = make()
        back.clock.move(seconds=(AFTER - back.clock.now()).total_seconds())
        yield back


@pytest.fixture
def client(back: BackEnd) -> Iterator[TestClient]:
    with TestClient(back.app(), base_url=LOCAL, follow_redirects=False) as client:
        yield client


@pytest.fixture(scope="module")
def steady(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[TestClient, int]]:
    """Give a browser and a planned visit for what is refused and so leaves no trace."""
    with back_ends(tmp_path_factory.mktemp("steady")) as make:
        back = make()
        back.clock.move(seconds=(AFTER - back.clock.now()).total_seconds())
        with TestClient(back.app(), base_url=LOCAL, follow_redirects=False) as client:
            yield client, planned(back, client)[1]


def planned(back: BackEnd, client: TestClient, *keys: str, on: str = TODAY) -> tuple[str, int]:
    """Plan a visit for the standing loop (or these findings); gives site and visit."""
    slug = back.add_site()
    known = with_report(back, slug)
    form = {"site": slug, "on": on, "note": "key at the neighbour's", "finding": keys or known[:1]}
    answer = client.post("/visits/new", data=form)
    assert answer.status_code == 303, answer.text
    return slug, int(answer.headers["location"].split("/")[2].split("?")[0])


def save(client: TestClient, visit: int, body: dict):
    return client.post(f"/api/visits/{visit}/saves", json=body)


def facts(back: BackEnd, slug: str):
    with back.database.reading() as db:
        return parse_site(db.get(Site, back.site_id(slug)).text)


def state_of(client: TestClient, slug: str, kind: str = "lost_circulation") -> str:
    found = client.get(f"/api/sites/{slug}/findings").json()
    return next(one["state"] for one in found if one["kind"] == kind)


def test_sites_that_want_a_visit_are_listed_by_urgency_then_money(
    back: BackEnd, client: TestClient
) -> None:
    for name, found in (
        ("Slow Lane 1", (TUBES,)),
        ("Act Lane 2", (STANDING,)),
        ("Calm Lane 3", (TUBES.__class__(**{**_as_dict(TUBES), "urgency": "watch"}),)),
    ):
        with_report(back, back.add_site(name), *found)
    text = client.get("/visits").text
    want = text.split('id="want"')[1]
    assert want.index("Act Lane 2") < want.index("Slow Lane 1")
    assert "Calm Lane 3" not in text
    assert "a week" in want
    client.post("/visits/base", data={"latitude": "48,1", "longitude": "11"})
    # A tenth of a degree of latitude: 111.19 km a degree on the sphere, by arithmetic.
    assert "11 km as the crow flies" in client.get("/visits").text
    refused = client.post("/visits/base", data={"latitude": "north", "longitude": "11"})
    assert refused.status_code == 422
    assert "under 1 km" in client.get("/visits?near=48.001,11.001").text


def _as_dict(one: object) -> dict:
    return {name: getattr(one, name) for name in one.__slots__}


def test_a_planned_visit_moves_from_want_to_its_day(back: BackEnd, client: TestClient) -> None:
    slug, visit = planned(back, client, on="2026-01-05")
    assert state_of(client, slug) == "visit_planned"
    text = client.get("/visits").text
    assert f'href="/visits/{visit}"' in text.split('id="want"')[0]
    assert "No heat came down" not in text.split('id="want"')[1]
    assert "quarter less" in text.split('id="want"')[1]  # the other finding still wants one
    assert "Mill Lane 4" in client.get("/visits?day=2026-01-05").text
    assert "Nothing is planned for this day" in client.get("/visits?day=2026-01-06").text
    moved = client.post(f"/visits/{visit}/plan", data={"on": "2026-01-06", "note": "later"})
    assert moved.status_code == 303
    assert "later" in client.get("/visits?day=2026-01-06").text
    assert client.post(f"/visits/{visit}/plan", data={"on": "2025-01-06"}).status_code == 422
    client.post(f"/visits/{visit}/drop")
    assert state_of(client, slug) == "accepted"
    assert "No heat came down" in client.get("/visits").text.split('id="want"')[1]


@pytest.mark.parametrize("on", ["", "2025-12-31", "2031-01-01"])
def test_a_day_that_cannot_be_meant_is_refused(steady: tuple[TestClient, int], on: str) -> None:
    client, _ = steady
    answer = client.post("/visits/new", data={"site": "mill-lane-4", "on": on})
    assert answer.status_code == 422
    assert "day" in answer.text


def test_the_page_names_cautions_before_the_first_check(back: BackEnd, client: TestClient) -> None:
    _, visit = planned(back, client)
    text = client.get(f"/visits/{visit}").text
    first_check = text.index('class="checks"')
    for caution in ("Work at height", "steam", "can scald", "electrical work", "Local codes"):
        assert text.index(caution) < first_check, caution
    assert "Feel the pump body" in text


def test_a_save_counts_once(back: BackEnd, client: TestClient) -> None:
    _, visit = planned(back, client)
    body = a_save(("pressure_found_bar", "1,2"), ("check.0.0", "found"))
    first, second = save(client, visit, body), save(client, visit, body)
    assert first.json() == second.json()
    assert first.json()["values"]["pressure_found_bar"]["value"] == "1,2"
    with back.database.reading() as db:
        assert (db.query(VisitSave).count(), db.query(VisitEntry).count()) == (1, 2)


def test_a_key_of_another_visit_is_refused(back: BackEnd, client: TestClient) -> None:
    slug, visit = planned(back, client)
    other = client.post("/visits/new", data={"site": slug, "on": TODAY}).headers["location"]
    body = a_save(("notes", "x"))
    assert save(client, visit, body).status_code == 200
    number = int(other.split("/")[2].split("?")[0])
    assert save(client, number, body).status_code == 409


def test_what_was_typed_last_counts_and_the_older_stays(back: BackEnd, client: TestClient) -> None:
    """The phone typed at nine, the office at ten; the phone's save comes in last."""
    _, visit = planned(back, client)
    nine, ten = AFTER + timedelta(hours=1), AFTER + timedelta(hours=2)
    back.clock.move(hours=2)
    save(client, visit, a_save(("notes", "by the office"), at=ten))
    back.clock.move(hours=1)
    late = a_save(("notes", "by the phone"), at=ten + timedelta(hours=1))
    late["fields"][0]["typed_at"] = nine.isoformat()
    told = save(client, visit, late).json()
    assert told["values"]["notes"]["value"] == "by the office"
    assert "by the phone" in client.get(f"/visits/{visit}").text


def test_a_wrong_clock_of_the_phone_does_no_harm(back: BackEnd, client: TestClient) -> None:
    _, visit = planned(back, client)
    back.clock.move(hours=2)
    ahead = a_save(("notes", "first"), at=AFTER + timedelta(days=400))
    save(client, visit, ahead)
    back.clock.move(minutes=5)
    told = save(client, visit, a_save(("notes", "second"), at=back.clock.now())).json()
    assert told["values"]["notes"]["value"] == "second"


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("ph", "acid", "no number"),
        ("ph", "15", "lies between 0 and 14"),
        ("tubes.1.changed", "3, 27", "not among 1 to 20"),
        ("register_kwh", "12.345", "can be read as"),
        ("fluid", "drunk", "choose one"),
    ],
)
def test_what_cannot_be_used_is_kept_named_and_not_finished(
    steady: tuple[TestClient, int], field: str, value: str, says: str
) -> None:
    client, visit = steady
    body = a_save((field, value), ("finding.0.outcome", "open"), finished_at=AFTER.isoformat())
    told = save(client, visit, body).json()
    assert says in told["problems"][field]
    assert says in told["problem"]
    assert (told["state"], told["values"][field]["value"]) == ("planned", value)
    assert save(client, visit, a_save((field, ""))).json()["problems"] == {}


def test_finishing_puts_facts_reading_and_lives_on_record(
    back: BackEnd, client: TestClient
) -> None:
    slug, visit = planned(back, client, *with_keys())
    back.clock.move(hours=3)
    done = back.clock.now()
    body = a_save(
        ("pressure_left_bar", "1.9"),
        ("flow_left_l_min", "2,0"),  # as it is on record
        ("flow_found_l_min", "0.9"),
        ("fluid", "passed"),
        ("register_kwh", "1234"),
        ("tubes.1.changed", "7-8, 3"),
        ("finding.0.outcome", "put_right"),
        ("finding.0.note", "pump changed"),
        ("finding.1.outcome", "open"),
        ("name", "Roof Fitters"),
        at=done,
        finished_at=done.isoformat(),
    )
    told = save(client, visit, body).json()
    assert (told["state"], told["problem"]) == ("finished", None)
    found = facts(back, slug)
    (change,) = found.changes
    assert (change.key, change.value, change.date) == ("loop.pressure_bar", 1.9, date(2026, 1, 1))
    assert found.commissioned.fluid_tested == date(2026, 1, 1)
    (part,) = found.parts
    assert (part.what, part.by) == ("tubes changed: 3, 7, 8", "Roof Fitters")
    (reading,) = found.readings
    assert (reading.heat_register_kwh, reading.who) == (1234.0, "Roof Fitters")
    assert state_of(client, slug) == "put_right"
    assert state_of(client, slug, "degraded_tubes") == "accepted"
    # The answer was lost on the way and everything is sent again: nothing changes.
    before = client.get(f"/api/sites/{slug}/file").text
    assert save(client, visit, body).json()["state"] == "finished"
    assert client.get(f"/api/sites/{slug}/file").text == before
    # What comes later is kept, named, and changes no facts.
    back.clock.move(hours=1)
    save(client, visit, a_save(("pressure_left_bar", "2.5"), at=back.clock.now()))
    assert client.get(f"/api/sites/{slug}/file").text == before
    record = client.get(f"/visits/{visit}/record?lang=en").text
    assert "Added after the visit was finished: Pressure left" in record
    assert "2.5 bar" in record
    assert "pump changed" in record


def with_keys() -> list[str]:
    return [finding_key(STANDING), finding_key(TUBES)]


def test_a_finish_that_was_refused_is_tried_again_with_the_same_save(
    back: BackEnd, client: TestClient
) -> None:
    _, visit = planned(back, client)
    body = a_save(("notes", "x"), finished_at=AFTER.isoformat())
    assert "whether it was put right" in save(client, visit, body).json()["problem"]
    save(client, visit, a_save(("finding.0.outcome", "open")))
    assert save(client, visit, body).json()["state"] == "finished"


def test_facts_that_do_not_fit_are_refused_with_the_reason(
    back: BackEnd, client: TestClient
) -> None:
    text = site_file("Valve Lane 5").replace(
        'kind = "filled"', 'kind = "filled"\nsafety_valve_bar = 3'
    )
    slug = back.add_site(text=text)
    answer = client.post("/visits/new", data={"site": slug, "on": TODAY})
    visit = int(answer.headers["location"].split("/")[2].split("?")[0])
    body = a_save(("pressure_left_bar", "9"), finished_at=AFTER.isoformat())
    told = save(client, visit, body).json()
    assert told["state"] == "planned"
    assert "does not fit the site's facts" in told["problem"]
    assert facts(back, slug).changes == ()


def test_the_form_works_without_script_and_overwrites_nobody(
    back: BackEnd, client: TestClient
) -> None:
    _, visit = planned(back, client)
    form = {"seen": "0", "key": str(uuid.uuid4()), "notes": "", "ph": "7.5", "do": "save"}
    # Somebody else saves notes between showing the form and sending it.
    save(client, visit, a_save(("notes", "theirs")))
    answer = client.post(f"/visits/{visit}/save", data=form, files={"photo": ("a.jpg", a_photo())})
    assert answer.status_code == 303, answer.text
    text = client.get(f"/visits/{visit}").text
    assert "theirs</textarea>" in text
    assert 'value="7.5"' in text
    assert f"/visits/{visit}/photos/1" in text
    refused = client.post(f"/visits/{visit}/save", data={"seen": "99", "do": "finish"})
    assert refused.status_code == 422
    assert "Kept, but not finished" in refused.text


def test_photos_lose_their_place_and_are_kept_once(back: BackEnd, client: TestClient) -> None:
    _, visit = planned(back, client)
    sent = a_located_photo()
    assert b"Invented Phone" in sent
    address = f"/api/visits/{visit}/photos?key={uuid.uuid4()}"
    first = client.post(address, content=sent)
    assert first.status_code == 201, first.text
    assert client.post(address, content=sent).json() == first.json()
    got = client.get(f"/visits/{visit}/photos/{first.json()['id']}")
    assert got.headers["content-type"] == "image/jpeg"
    with Image.open(io.BytesIO(got.content)) as picture:
        assert dict(picture.getexif()) == {}
        assert picture.size == (48, 64)  # turned upright
    assert b"Invented Phone" not in got.content
    raw = back.settings.data_dir / "uploads" / first.json()["sha256"][:2]
    assert (raw / first.json()["sha256"]).exists()
    client.post(f"/visits/{visit}/photos/1/remove")
    assert client.get(f"/visits/{visit}/photos/1").status_code == 404
    assert not (raw / first.json()["sha256"]).exists()


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_other_kinds_of_photos_are_taken(steady: tuple[TestClient, int], kind: str) -> None:
    client, visit = steady
    address = f"/api/visits/{visit}/photos?key={uuid.uuid4()}"
    assert client.post(address, content=a_photo(kind)).status_code == 201


@pytest.mark.parametrize(
    ("made", "status", "says"),
    [
        (lambda: a_photo("GIF"), 422, "no JPEG, PNG or WebP"),
        (lambda: a_photo()[:200], 422, "broken"),
        (bytes, 422, "empty"),
        (lambda: b"\xff\xd8" + bytes(12 * 1024 * 1024), 413, "larger than"),
        (lambda: a_photo("PNG", size=(9000, 7000), compress_level=1), 413, "60 million"),
    ],
    ids=["gif", "cut", "empty", "large", "bomb"],
)
def test_what_is_no_photo_is_refused(
    steady: tuple[TestClient, int], made: Callable[[], bytes], status: int, says: str
) -> None:
    client, visit = steady
    answer = client.post(f"/api/visits/{visit}/photos?key={uuid.uuid4()}", content=made())
    assert answer.status_code == status
    assert says in answer.json()["detail"]


def test_the_record_is_printed_in_two_languages_and_as_pdf(
    back: BackEnd, client: TestClient
) -> None:
    _, visit = planned(back, client)
    assert "not finished" in client.get(f"/visits/{visit}/record").text
    body = a_save(
        ("ph", "7,5"),
        ("tubes.1.changed", "3, 7-9"),
        ("check.0.1", "found"),
        ("finding.0.outcome", "put_right"),
        ("registration", "R-123"),
        finished_at=AFTER.isoformat(),
    )
    save(client, visit, body)
    english = client.get(f"/visits/{visit}/record?lang=en").text
    german = client.get(f"/visits/{visit}/record?lang=de").text
    assert "4: 3, 7, 8, 9" in english
    assert "R-123" in english
    assert "pH-Wert" in german
    assert "7,5" in german
    assert "Kreislauf steht: behoben" in german
    pdf = client.get(f"/visits/{visit}/record.pdf?lang=de")
    assert pdf.headers["content-type"] == "application/pdf"
    assert pdf.content.startswith(b"%PDF")
    assert pdf.content.count(b"/Type /Page\n") == 1


def test_a_visit_without_findings_has_routine_checks(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    answer = client.post("/visits/new", data={"site": slug, "on": TODAY})
    path = answer.headers["location"].split("?")[0]
    assert "From the ground, with binoculars" in client.get(path).text
    done = save(client, int(path[8:]), a_save(finished_at=AFTER.isoformat())).json()
    assert done["state"] == "finished"


def test_a_deleted_site_takes_its_visits_out_of_sight(back: BackEnd, client: TestClient) -> None:
    slug, visit = planned(back, client)
    client.delete(f"/api/sites/{slug}?confirm=Mill Lane 4")
    assert client.get(f"/visits/{visit}").status_code == 404
    assert "Mill Lane 4" not in client.get("/visits").text


def test_the_card_says_on_the_spot_whether_it_was_put_right(
    back: BackEnd, client: TestClient
) -> None:
    """The sensor is changed on 6 June at nine; the card is read then, and again four days later."""
    back.clock.move(seconds=(FIRST + timedelta(days=5, hours=9) - back.clock.now()).total_seconds())
    slug, key = site_with_finding(back, client)
    form = {"site": slug, "on": "2025-06-06", "finding": key}
    path = client.post("/visits/new", data=form).headers["location"].split("?")[0]
    verdict = client.get(path).text.split('class="verdicts"')[1]
    assert "It still shows" in verdict
    body = a_save(
        ("finding.0.outcome", "put_right"),
        at=back.clock.now(),
        finished_at=back.clock.now().isoformat(),
    )
    assert save(client, int(path[8:]), body).json()["state"] == "finished"
    back.worker().work_all()
    verdict = client.get(path).text.split('class="verdicts"')[1]
    assert "put right, waiting for the next logs" in verdict
    later = FIRST + timedelta(days=5)
    log = open_sensor_log(later, broken_until=later + timedelta(hours=9), hours=5 * 24)
    back.clock.move(days=5)
    back.hand_in(slug, log, "b.csv")
    back.worker().work_all()
    verdict = client.get(path).text.split('class="verdicts"')[1]
    assert "Put right, confirmed by the data" in verdict


def test_the_site_and_the_finding_name_their_visits(back: BackEnd, client: TestClient) -> None:
    slug, visit = planned(back, client)
    link = f'href="/visits/{visit}"'
    assert link in client.get(f"/sites/{slug}").text
    standing, tubes = with_keys()
    assert link in client.get(f"/sites/{slug}/findings/{standing}").text
    assert link not in client.get(f"/sites/{slug}/findings/{tubes}").text
