"""Digests and urgent mails as the timetable makes them: once, to the right people, in time."""

from datetime import timedelta

import pytest

from service.db.models import Recipient
from service.jobs import claims
from service.jobs.schedule import build_scheduler
from tests.build_mail import (
    MONDAY,
    add_reader,
    files,
    fleet,
    frost,
    mails,
    save_report,
    timetable,
)
from tests.build_report import a_finding, a_report
from tests.build_service import back_ends


@pytest.fixture(params=["sqlite", "postgres"])
def back(request, tmp_path):
    with back_ends(tmp_path, request.param) as make:
        yield make()


def test_monday_morning_sends_each_reader_one_digest(back):
    fleet(back)
    add_reader(back, "office@example.org")
    add_reader(back, "boss@example.org")
    add_reader(back, "none@example.org", digest=False)
    back.clock.moment = MONDAY - timedelta(hours=2)
    timetable(back).tick()
    assert mails(back) == []
    back.clock.moment = MONDAY
    timetable(back).tick()
    timetable(back).tick()
    timetable(back, "worker-2").tick()
    found = mails(back)
    assert [mail.recipient for mail in found] == ["office@example.org", "boss@example.org"]
    assert {mail.state for mail in found} == {"sent"}
    assert found[0].subject == "1 of 1 roof needs somebody (1 still open), 15 to 21 September 2025"
    messages = files(back)
    assert len(messages) == 2
    assert {message["To"] for message in messages} == {"office@example.org", "boss@example.org"}
    assert {message["Message-ID"] for message in messages} == {mail.message_id for mail in found}


def test_the_next_week_has_its_own_digest(back):
    fleet(back)
    add_reader(back)
    for _ in range(3):
        timetable(back).tick()
        back.clock.move(days=7)
    assert len({mail.message_id for mail in mails(back)}) == 3


def test_a_worker_that_was_away_on_monday_sends_on_tuesday(back):
    fleet(back)
    add_reader(back)
    back.clock.move(days=1)
    timetable(back).tick()
    assert len(mails(back)) == 1


def test_who_was_added_after_monday_morning_waits_for_the_next(back):
    fleet(back)
    add_reader(back, created_at=MONDAY + timedelta(hours=3))
    back.clock.move(hours=4)
    timetable(back).tick()
    assert mails(back) == []
    back.clock.moment = MONDAY + timedelta(days=7)
    timetable(back).tick()
    assert len(mails(back)) == 1


def test_a_digest_in_somebodys_hands_is_not_composed_twice(back):
    fleet(back)
    reader = add_reader(back)
    key = f"digest:2025-W38:{reader}"
    with back.database.session() as db:
        until = MONDAY + timedelta(minutes=5)
        assert claims.claim(db, key=key, holder="other", now=MONDAY, until=until)
    timetable(back).tick()
    assert mails(back) == []
    back.clock.move(minutes=6)
    timetable(back).tick()
    assert len(mails(back)) == 1


def test_a_site_without_a_readable_report_does_not_stop_the_digest(back):
    fleet(back)
    back.add_site("Orchard End")
    add_reader(back)
    timetable(back).tick()
    assert "Orchard End: no log has been handed in yet" in mails(back)[0].text


def test_without_sites_there_is_no_digest(back):
    back.clock.moment = MONDAY
    add_reader(back)
    timetable(back).tick()
    assert mails(back) == []


def test_an_urgent_finding_is_mailed_once_to_whoever_wants_it(back):
    back.clock.moment = MONDAY + timedelta(days=2)
    slug = fleet(back)
    back.clock.moment = MONDAY + timedelta(days=2, hours=6)
    add_reader(back, "office@example.org", digest=False)
    add_reader(back, "none@example.org", digest=False, urgent=False)
    table = timetable(back)
    table.tick()
    assert mails(back) == []
    back.clock.move(hours=1)
    save_report(back, slug, a_report(findings=(frost(), a_finding())))
    table.tick()
    table.tick()
    # A later analysis of the same, by another worker after a restart.
    back.clock.move(hours=6)
    save_report(back, slug, a_report(findings=(frost(), a_finding())))
    timetable(back, "worker-2").tick()
    found = mails(back)
    assert [(mail.recipient, mail.state) for mail in found] == [("office@example.org", "sent")]
    assert found[0].subject.startswith("Act today: Mill Lane 4 – ")
    assert "The loop came down to -9 °C at night." in found[0].text


@pytest.mark.parametrize(
    "finding",
    [
        a_finding(end_s=None),  # a visit waits for Monday
        frost(end_s=frost().start_s + 3600),  # over
        frost(kind="no_draw"),  # private
    ],
)
def test_what_is_not_urgent_or_private_has_no_mail_of_its_own(back, finding):
    fleet(back, findings=(finding,))
    add_reader(back, digest=False)
    timetable(back).tick()
    assert mails(back) == []


def test_quiet_hours_hold_the_urgent_mail_until_morning(back):
    fleet(back, findings=(frost(),))
    add_reader(back, "london@example.org", digest=False)
    add_reader(back, "sydney@example.org", digest=False, timezone="Australia/Sydney")
    # 23:00 in London, 08:00 on Tuesday in Sydney.
    back.clock.moment = MONDAY.replace(hour=22, minute=0)
    timetable(back).tick()
    states = {mail.recipient: mail.state for mail in mails(back)}
    assert states == {"london@example.org": "waiting", "sydney@example.org": "sent"}
    back.clock.move(hours=7, minutes=59)
    timetable(back).tick()
    assert len(files(back)) == 1
    back.clock.move(minutes=1)  # 07:00 in London
    timetable(back).tick()
    assert len(files(back)) == 2


def test_an_urgent_finding_waits_for_the_first_reader(back):
    fleet(back, findings=(frost(),))
    table = timetable(back)
    table.tick()
    back.clock.move(hours=3)
    add_reader(back, digest=False)
    table.tick()
    assert len(mails(back)) == 1


def test_a_reader_who_left_gets_no_digest(back):
    fleet(back)
    reader = add_reader(back)
    with back.database.session() as db:
        db.delete(db.get(Recipient, reader))
    timetable(back).tick()
    assert mails(back) == []


def test_one_readers_trouble_does_not_stop_the_others(back, monkeypatch, caplog):
    from service.digests import actions

    fleet(back)
    add_reader(back, "trouble@example.org", timezone="Europe/Paris")
    add_reader(back, "office@example.org")
    whole = actions.digest_page

    def failing(sites, *, timezone, **more):
        if timezone == "Europe/Paris":
            raise RuntimeError("invented")
        return whole(sites, timezone=timezone, **more)

    monkeypatch.setattr(actions, "digest_page", failing)
    timetable(back).tick()
    assert [mail.recipient for mail in mails(back)] == ["office@example.org"]
    assert "failed" in caplog.text
    monkeypatch.undo()
    back.clock.move(minutes=6)
    timetable(back).tick()
    assert len(mails(back)) == 2


def test_the_scheduler_ticks_at_once_in_utc(back):
    fleet(back)
    add_reader(back)
    scheduler = build_scheduler(back.settings, back.database, back.clock)
    job, webhooks = scheduler.get_jobs()
    assert (job.id, webhooks.id) == ("mail", "webhooks")
    assert str(scheduler.timezone) == "UTC"
    assert job.coalesce
    assert job.max_instances == 1
    job.func()
    assert len(mails(back)) == 1
