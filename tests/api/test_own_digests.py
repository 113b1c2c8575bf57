"""Digests as their readers have them: what changed for each, by a real mail server."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from email import message_from_bytes, policy
from io import BytesIO

import pytest
from aiosmtpd.controller import Controller
from fastapi.testclient import TestClient
from PIL import Image

from service.db.models import Recipient, Site
from service.digests import queries
from tests.build_mail import MONDAY, add_reader, fleet, frost, mails, save_report, timetable
from tests.build_report import a_finding, a_report, at
from tests.build_service import LOCAL, back_ends

ORIGIN = {"Origin": LOCAL}


class Box:
    """Takes mail, or refuses it with the words it is given for an address."""

    def __init__(self) -> None:
        self.taken = []
        self.refuse = {}

    async def handle_RCPT(self, _server, _session, envelope, address, _options):
        if address in self.refuse:
            return self.refuse[address]
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, _server, _session, envelope):
        self.taken.append(message_from_bytes(envelope.content, policy=policy.default))
        return "250 OK"


class AnyPort(Controller):
    """A server at whatever port is free."""

    def _trigger_server(self):
        self.port = self.server.sockets[0].getsockname()[1]
        super()._trigger_server()


@contextmanager
def real_server() -> Iterator[tuple[Controller, Box]]:
    box = Box()
    controller = AnyPort(box, hostname="127.0.0.1", port=0)
    controller.start()
    try:
        yield controller, box
    finally:
        controller.stop()


@pytest.fixture
def make(tmp_path):
    with back_ends(tmp_path) as make:
        yield make


@pytest.fixture
def served(make):
    with real_server() as (controller, box):
        given = {"smtp_host": "127.0.0.1", "smtp_port": controller.port, "smtp_starttls": False}
        yield make(**given), box


def tubes(**given):
    return a_finding(**{"kind": "degraded_tubes", "start_s": at(8, 20), "end_s": None, **given})


def next_week(back, slug, *findings):
    back.clock.move(days=7)
    save_report(back, slug, a_report(findings=findings))
    timetable(back).tick()


def test_a_real_server_gets_picture_text_and_one_click_headers(served):
    back, box = served
    fleet(back)
    add_reader(back)
    timetable(back).tick()
    (message,) = box.taken
    assert message["Auto-Submitted"] == "auto-generated"
    assert message["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    link = message["List-Unsubscribe"].strip("<>")
    assert link.startswith("http://127.0.0.1:8321/mail/stop/")
    html = message.get_body(("html",)).get_content()
    (image,) = [part for part in message.walk() if part.get_content_type() == "image/png"]
    assert f'src="cid:{image["Content-ID"].strip("<>")}"' in html
    assert image["Content-Disposition"].startswith("inline")
    picture = Image.open(BytesIO(image.get_content()))
    assert picture.size == (1120, 480)
    assert len(image.get_content()) < 40_000
    # The same figures stand in the text.
    text = " ".join(message.get_body(("plain",)).get_content().split())
    alt = html.partition('alt="Heat that came, week by week. ')[2].partition('"')[0]
    for told in alt.rstrip(".").split("; "):
        assert told in text
    assert link in text


def test_the_second_digest_has_on_top_only_what_changed(served):
    back, box = served
    slug = fleet(back, findings=(tubes(), a_finding(kind="shading", end_s=None, start_s=at(8, 1))))
    add_reader(back)
    timetable(back).tick()
    next_week(
        back, slug, tubes(), a_finding(kind="shading", end_s=at(9, 24), start_s=at(8, 1)), frost()
    )
    text = box.taken[1].get_body(("plain",)).get_content()
    assert "Since your last digest: 1 new, 1 put right." in " ".join(text.split())
    top, _, rest = text.partition("PUT RIGHT, OR OVER")
    assert "Loop too cold for its fluid [New]" in top
    assert "First check" in top
    assert "Collector weaker" not in top
    over, _, standing = rest.partition("STILL STANDS, THE WORST FIRST")
    assert "Something shades" in over
    assert "Plan a visit: Collector weaker" in standing
    assert "First check" not in standing


def test_what_got_worse_or_came_back_is_told_and_what_is_gone_too(served):
    back, box = served
    slug = fleet(
        back,
        findings=(tubes(), a_finding(end_s=at(9, 10)), a_finding(kind="shading", end_s=None)),
    )
    add_reader(back)
    timetable(back).tick()
    # The start of the tubes' finding moved by three days: it is still the same.
    moved = tubes(urgency="act", start_s=at(8, 17))
    next_week(back, slug, moved, a_finding(end_s=None))
    text = " ".join(box.taken[1].get_body(("plain",)).get_content().split())
    assert "1 more urgent, 1 came back, 1 not found any more" in text
    assert "[More urgent than it was]" in text
    assert "[Came back]" in text
    assert "newer logs do not show it any more" in text


def test_a_quiet_week_has_a_short_mail_or_none_as_its_reader_chose(served):
    back, box = served
    slug = fleet(back, findings=(tubes(),))
    add_reader(back, "every@example.org")
    add_reader(back, "skips@example.org", skip_unchanged=True)
    timetable(back).tick()
    assert len(box.taken) == 2
    next_week(back, slug, tubes())
    (quiet,) = box.taken[2:]
    assert quiet["To"] == "every@example.org"
    assert "nothing changed" in quiet["Subject"]
    assert "First check" not in quiet.get_body(("plain",)).get_content()
    # What changed later is told against the last mail that they had.
    next_week(back, slug, tubes(), frost())
    assert [one["To"] for one in box.taken[3:]] == ["every@example.org", "skips@example.org"]


def test_what_is_set_aside_is_neither_gone_nor_news_when_its_time_is_over(served):
    from service.care.actions import step

    back, box = served
    slug = fleet(back, findings=(tubes(),))
    add_reader(back)
    timetable(back).tick()
    with back.database.session() as db:
        site = db.get(Site, back.site_id(slug))
        step(
            db, site=site, key="degraded_tubes-20250820T0000", to="set_aside", who="x",
            now=back.clock.now(), urgency="visit", note="in autumn",
            until=(back.clock.now() + timedelta(days=10)).date(),
        )  # fmt: skip
    next_week(back, slug, tubes())
    next_week(back, slug, tubes())
    subjects = [one["Subject"].strip() for one in box.taken]
    assert subjects[1].startswith("No roof needs anybody (nothing changed)")
    assert subjects[2].startswith("1 of 1 roof needs somebody (nothing changed)")


def test_private_matters_are_in_no_digest_first_or_later(served):
    back, box = served
    away = a_finding(kind="no_draw", urgency="act", end_s=None, summary="Nobody used hot water.")
    slug = fleet(back, findings=(away, tubes()))
    add_reader(back)
    timetable(back).tick()
    next_week(back, slug, tubes())
    for message in box.taken:
        whole = message.as_string().lower()
        assert "hot water" not in whole
        assert "no_draw" not in whole
    with back.database.reading() as db:
        (reader,) = queries.digest_readers(db)
        assert "no_draw" not in str(reader.told)


def test_each_reader_has_day_hour_zone_and_sites_of_their_own(served):
    back, box = served
    fleet(back, findings=(tubes(),))
    back.add_site("Orchard End")
    entered = MONDAY - timedelta(days=1)
    friday = add_reader(
        back, "friday@example.org", digest_weekday=4, digest_hour=15, created_at=entered
    )
    add_reader(back, "sydney@example.org", timezone="Australia/Sydney", digest_hour=16)
    with back.database.session() as db:
        reader = db.get(Recipient, friday)
        reader.every_site = False
        queries.choose_sites(db, recipient_id=friday, site_ids=[back.site_id("orchard-end")])
    timetable(back).tick()  # 15:30 on Monday in Sydney
    assert box.taken == []
    back.clock.move(minutes=30)
    timetable(back).tick()
    assert [one["To"] for one in box.taken] == ["sydney@example.org"]
    back.clock.moment = MONDAY + timedelta(days=4, hours=8)  # Friday, 14:30 in London
    timetable(back).tick()
    assert len(box.taken) == 1
    back.clock.move(minutes=30)
    timetable(back).tick()
    timetable(back, "worker-2").tick()
    (found,) = box.taken[1:]
    assert found["To"] == "friday@example.org"
    text = found.get_body(("plain",)).get_content()
    assert "19 to 25 September 2025" in text
    assert "Orchard End" in text
    assert "Mill Lane" not in text


def test_an_urgent_mail_goes_to_whoever_hears_of_the_site_and_can_be_stopped(served):
    back, box = served
    fleet(back, findings=(frost(),))
    other = back.add_site("Orchard End")
    somebody = add_reader(back, "orchard@example.org", digest=False, every_site=False)
    add_reader(back, "all@example.org", digest=False)
    with back.database.session() as db:
        queries.choose_sites(db, recipient_id=somebody, site_ids=[back.site_id(other)])
    back.clock.move(hours=2)
    timetable(back).tick()
    (message,) = box.taken
    assert message["To"] == "all@example.org"
    assert message["List-Unsubscribe"]


def test_the_link_in_the_mail_stops_it_without_signing_in(served):
    back, box = served
    fleet(back, findings=(tubes(),))
    reader = add_reader(back, urgent=True)
    timetable(back).tick()
    path = box.taken[0]["List-Unsubscribe"].strip("<>").removeprefix("http://127.0.0.1:8321")
    with TestClient(back.app(), base_url=LOCAL, follow_redirects=False) as client:
        looked = client.get(path)  # as mail scanners do
        assert looked.status_code == 200
        assert "Nothing was changed yet" in looked.text
        with back.database.reading() as db:
            assert db.get(Recipient, reader).digest
        # RFC 8058, section 3.2: a POST with this body, no cookie, no redirect.
        done = client.post(path, data={"List-Unsubscribe": "One-Click"})
        assert done.status_code == 200
        with back.database.reading() as db:
            found = db.get(Recipient, reader)
            assert (found.digest, found.urgent) == (False, True)
        assert client.post(path, data={"everything": "true"}).status_code == 200
        with back.database.reading() as db:
            assert not db.get(Recipient, reader).urgent
        assert client.post(path[:-2] + "xx").status_code == 404
        assert "stopped the own mail" in client.get("/trail").text
    back.clock.move(days=7)
    timetable(back).tick()
    assert len(box.taken) == 1


def test_three_refusals_in_a_row_pause_an_address_and_the_owner_is_told(served):
    back, box = served
    slug = fleet(back, findings=(tubes(),))
    gone = add_reader(back, "gone@example.org")
    add_reader(back, "boss@example.org")
    box.refuse = {"gone@example.org": "550 5.1.1 no such person here"}
    timetable(back).tick()
    next_week(back, slug, tubes())
    with back.database.reading() as db:
        assert db.get(Recipient, gone).refusals == 2
        assert db.get(Recipient, gone).paused_at is None
    next_week(back, slug, tubes())
    with back.database.reading() as db:
        assert db.get(Recipient, gone).paused_at == back.clock.now()
    timetable(back).tick()
    told = [one for one in box.taken if "takes no mail" in one["Subject"]]
    assert [one["To"] for one in told] == ["boss@example.org"]
    assert "550 5.1.1 no such person here" in told[0].get_body(("plain",)).get_content()
    before = len(mails(back))
    next_week(back, slug, tubes())
    assert [one.recipient for one in mails(back)[before:]] == ["boss@example.org"]
    with TestClient(back.app(), base_url=LOCAL, follow_redirects=False) as client:
        page = client.get("/settings").text
        assert "no such person here" in page
        answer = client.post(f"/settings/recipients/{gone}/resume", headers=ORIGIN)
        assert answer.status_code == 303
    box.refuse.clear()
    next_week(back, slug, tubes())
    assert box.taken[-1]["To"] in ("gone@example.org", "boss@example.org")
    with back.database.reading() as db:
        assert (db.get(Recipient, gone).refusals, db.get(Recipient, gone).paused_at) == (0, None)


def test_a_full_box_is_no_refusal_and_a_success_forgets_refusals(served):
    back, box = served
    slug = fleet(back, findings=(tubes(),))
    reader = add_reader(back)
    box.refuse = {"office@example.org": "550 gone"}
    timetable(back).tick()
    box.refuse = {"office@example.org": "452 full"}
    next_week(back, slug, tubes())
    with back.database.reading() as db:
        assert db.get(Recipient, reader).refusals == 1
    box.refuse.clear()
    back.clock.move(minutes=5)
    timetable(back).tick()
    with back.database.reading() as db:
        assert db.get(Recipient, reader).refusals == 0


def test_the_office_changes_what_somebody_gets_and_sends_one_now(served):
    back, box = served
    fleet(back, findings=(tubes(),))
    reader = add_reader(back)
    number = back.site_id("mill-lane-4")
    path = f"/settings/recipients/{reader}"
    wanted = {
        "name": "Office", "timezone": "Europe/Berlin", "digest": "true", "digest_weekday": "2",
        "digest_hour": "17", "every_site": "false", "site": [str(number), "999"],
        "quiet_from": "20:00", "quiet_until": "06:00",
    }  # fmt: skip
    with TestClient(back.app(), base_url=LOCAL, follow_redirects=False) as client:
        assert client.get(path).status_code == 200
        wrong = client.post(path, data={**wanted, "timezone": "Mars"}, headers=ORIGIN)
        assert wrong.status_code == 422
        assert "This zone is not known" in wrong.text
        assert client.post(path, data=wanted, headers=ORIGIN).status_code == 303
        assert client.post(f"{path}/now", headers=ORIGIN).status_code == 303
    with back.database.reading() as db:
        found = db.get(Recipient, reader)
        assert (found.digest_weekday, found.digest_hour, found.urgent) == (2, 17, False)
        assert queries.chosen_sites(db, recipient_id=reader) == {number}
        assert found.told is None  # a mail out of turn does not count
    timetable(back).send()
    assert [one["To"] for one in box.taken] == ["office@example.org"]


def test_the_body_of_a_mail_names_the_same_changes_in_both_parts(served):
    back, box = served
    slug = fleet(back, findings=(tubes(),))
    add_reader(back)
    timetable(back).tick()
    next_week(back, slug, replace(tubes(), urgency="act"), frost())
    message = box.taken[1]
    html = message.get_body(("html",)).get_content()
    text = message.get_body(("plain",)).get_content()
    for words in ("More urgent than it was", "Loop too cold", "Collector weaker", "Stop this mail"):
        assert words in html
        assert words in text
