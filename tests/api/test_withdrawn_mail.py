"""An urgent mail that waits through quiet hours is taken back when its finding has ended."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from tests.build_mail import add_reader, files, fleet, frost, mails, save_report, timetable
from tests.build_report import a_report
from tests.build_service import BackEnd, back_ends

# Two in the morning in London, where it is quiet until seven.
NIGHT = timedelta(hours=-4, minutes=-30)


@pytest.fixture(params=["sqlite", "postgres"])
def back(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path, request.param) as make:
        back = make()
        fleet(back, findings=(frost(),))
        back.clock.moment += NIGHT
        yield back


def report_again(back: BackEnd, *findings) -> None:
    back.clock.move(minutes=30)
    save_report(back, "mill-lane-4", a_report(findings=findings))
    timetable(back).tick()


def ended():
    return frost(end_s=frost().start_s + 3600)


def test_what_has_ended_meanwhile_is_not_mailed(back: BackEnd) -> None:
    add_reader(back, digest=False)
    timetable(back).tick()
    assert [mail.state for mail in mails(back)] == ["waiting"]
    report_again(back, ended())
    assert mails(back) == []
    back.clock.move(hours=12)
    timetable(back).tick()
    assert files(back) == []


def test_what_still_lasts_is_mailed_in_the_morning_even_when_its_start_has_moved(
    back: BackEnd,
) -> None:
    add_reader(back, digest=False)
    timetable(back).tick()
    report_again(back, replace(frost(), start_s=frost().start_s - 600))
    assert len(mails(back)) >= 1
    back.clock.move(hours=12)
    timetable(back).tick()
    assert {mail.state for mail in mails(back)} == {"sent"}


def test_what_comes_back_is_mailed_once_to_everybody(back: BackEnd) -> None:
    add_reader(back, "quiet@example.org", digest=False)
    add_reader(back, "awake@example.org", digest=False, quiet_from="00:00", quiet_until="00:00")
    timetable(back).tick()
    report_again(back, ended())
    assert [(mail.recipient, mail.state) for mail in mails(back)] == [("awake@example.org", "sent")]
    report_again(back, frost())
    back.clock.move(hours=12)
    timetable(back).tick()
    assert sorted(str(message["To"]) for message in files(back)) == [
        "awake@example.org",
        "quiet@example.org",
    ]


def test_a_deleted_site_takes_its_waiting_mail_along(back: BackEnd) -> None:
    from service.db.models import Site

    add_reader(back, digest=False)
    timetable(back).tick()
    with back.database.session() as db:
        site = db.get(Site, back.site_id("mill-lane-4"))
        site.deleted_at = back.clock.now()
    timetable(back).tick()
    assert mails(back) == []


def test_a_mail_put_off_by_a_clock_far_ahead_leaves_once_the_clock_is_right(back: BackEnd) -> None:
    add_reader(back, digest=False)
    right = back.clock.now()
    back.clock.move(days=365)
    timetable(back).urgent()
    assert [mail.state for mail in mails(back)] == ["waiting"]
    back.clock.moment = right
    timetable(back).send()
    assert [mail.state for mail in mails(back)] == ["sent"]
