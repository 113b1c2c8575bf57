"""The outbox: how mails leave, what happens when they cannot, and what a message looks like."""

import smtplib
from datetime import timedelta

import pytest

from dashboards.mails import Mail
from service.mail import outbox
from service.mail.send import pause_after, send_due
from tests.build_mail import MONDAY, add_reader, files, fleet, mail_server, mails, timetable
from tests.build_service import LOCAL, back_ends

MAIL = Mail(subject="Grüße vom Dach", text="Ein Text mit ü.\n", html="<p>Ein Text mit ü.</p>")


@pytest.fixture
def make(tmp_path):
    with back_ends(tmp_path) as make:
        yield make


def put(back, what: str, address: str, *, wait: timedelta = timedelta(0)) -> None:
    now = back.clock.now()
    with back.database.session() as db:
        outbox.put(
            db,
            MAIL,
            firm_id=back.firm_id,
            recipient=address,
            message_id=outbox.message_id(back.settings, what=what, address=address),
            not_before=now + wait,
            now=now,
        )


def send(back, **given) -> int:
    return send_due(
        back.database, settings=back.settings, clock=back.clock, holder="worker-1", **given
    )


def test_without_a_server_mails_become_files_with_both_parts(make):
    back = make()
    put(back, "one", "office@example.org")
    assert send(back) == 1
    assert send(back) == 0
    (message,) = files(back)
    assert message["Subject"] == "Grüße vom Dach"
    assert message["From"] == "Suntally <suntally@localhost>"
    assert message["Auto-Submitted"] == "auto-generated"
    assert message.get_content_type() == "multipart/alternative"
    assert message.get_body(("plain",)).get_content().strip() == MAIL.text.strip()
    assert message.get_body(("html",)).get_content().strip() == MAIL.html
    assert not list(back.settings.outbox.glob(".*"))


def test_the_same_message_id_is_laid_out_once(make):
    back = make()
    put(back, "one", "office@example.org")
    put(back, "one", "Office@Example.org ")
    put(back, "one", "boss@example.org")
    assert len(mails(back)) == 2


def test_a_server_gets_each_mail_for_its_reader(make):
    with mail_server() as server:
        back = make(smtp_host=server.host, smtp_port=server.port, smtp_starttls=False)
        put(back, "one", "office@example.org")
        put(back, "one", "boss@example.org")
        put(back, "later", "boss@example.org", wait=timedelta(hours=1))
        assert send(back) == 2
    assert [taken[0] for taken in server.taken] == ["office@example.org", "boss@example.org"]
    message = server.taken[0][1]
    assert message["Message-ID"] == mails(back)[0].message_id
    assert message.get_body(("plain",)).get_content().strip() == MAIL.text.strip()
    assert [mail.state for mail in mails(back)] == ["sent", "sent", "waiting"]


def test_a_refused_reader_does_not_hold_up_the_others(make):
    with mail_server() as server:
        back = make(smtp_host=server.host, smtp_port=server.port, smtp_starttls=False)
        server.refuse = {"gone@example.org": "550 no such user", "full@example.org": "452 full"}
        for address in ("gone@example.org", "full@example.org", "office@example.org"):
            put(back, "one", address)
        assert send(back) == 1
        gone, full, office = mails(back)
        assert (gone.state, full.state, office.state) == ("failed", "waiting", "sent")
        assert "550" in gone.problem
        assert full.not_before == back.clock.now() + timedelta(minutes=1)
        assert send(back) == 0
        server.refuse.clear()
        back.clock.move(minutes=1)
        assert send(back) == 1
    assert {mail.tries for mail in mails(back)} == {1, 2}


class AwayError(OSError):
    pass


def test_a_server_that_is_away_is_asked_again_with_growing_pauses_and_given_up_at_last(make):
    back = make()
    put(back, "one", "office@example.org")
    put(back, "one", "boss@example.org")
    asked = []

    def away(_settings):
        asked.append(back.clock.now())
        raise AwayError("no route")

    send(back, transport=away)
    assert len(asked) == 1  # one vain connection ends the round
    while waiting := [mail.not_before for mail in mails(back) if mail.state == "waiting"]:
        back.clock.moment = max(back.clock.now(), min(waiting))
        send(back, transport=away)
    found = mails(back)
    assert {mail.state for mail in found} == {"failed"}
    assert {mail.tries for mail in found} == {20}
    assert "no route" in found[0].problem
    last = max(asked) - min(asked)
    assert timedelta(days=2) < last < timedelta(days=4)


def test_pauses_double_from_a_minute_to_four_hours():
    minutes = [pause_after(tries).total_seconds() / 60 for tries in range(1, 12)]
    assert minutes == [1, 2, 4, 8, 16, 32, 64, 128, 240, 240, 240]


def test_an_address_that_no_header_can_hold_is_given_up_and_stops_nothing(make):
    back = make()
    put(back, "one", "office@example.org\r\nBcc: all@example.org")
    put(back, "one", "boss@example.org")
    assert send(back) == 1
    assert [mail.state for mail in mails(back)] == ["failed", "sent"]


def test_a_wrong_password_ends_the_round_and_keeps_the_mail(make):
    back = make()
    put(back, "one", "office@example.org")

    def closed(_settings):
        raise smtplib.SMTPAuthenticationError(535, b"wrong password")

    send(back, transport=closed)
    (mail,) = mails(back)
    assert (mail.state, mail.tries) == ("waiting", 1)
    assert "535" in mail.problem


def test_the_test_button_lays_a_mail_out_for_ones_own_readers_only(make):
    from fastapi.testclient import TestClient

    back = make()
    reader = add_reader(back)
    with TestClient(back.app(), base_url=LOCAL, follow_redirects=False) as client:
        headers = {"Origin": LOCAL}
        answer = client.post(f"/settings/recipients/{reader}/test", headers=headers)
        assert answer.status_code == 303
        assert client.post("/settings/recipients/999/test", headers=headers).status_code == 404
        assert (
            client.post(
                f"/settings/recipients/{reader}/test", headers={"Origin": "http://evil.example"}
            ).status_code
            == 403
        )
    assert [mail.subject for mail in mails(back)] == ["Suntally: mail arrives"]


def test_the_digest_command_prints_the_week_and_sends_nothing(make, capsys, tmp_path):
    from service.cli import main

    back = make()
    fleet(back)
    add_reader(back)
    folder = str(back.settings.data_dir)
    page = tmp_path / "digest.html"
    words = ["digest", "--data-dir", folder, "--week", "2025-W38", "--html", str(page)]
    assert main(words) == 0
    out = capsys.readouterr().out
    assert out.startswith(
        "Subject: 1 of 1 roof needs somebody (1 still open), 15 to 21 September 2025\n"
    )
    assert "Mill Lane 4" in page.read_text(encoding="utf-8")
    back.clock.moment = MONDAY
    timetable(back).send()
    assert mails(back) == []


@pytest.mark.parametrize("week", ["2025-W53", "June"])
def test_the_digest_command_refuses_a_week_that_is_none(make, capsys, week):
    from service.cli import main

    back = make()
    assert main(["digest", "--data-dir", str(back.settings.data_dir), "--week", week]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "week" in err
    assert err.count("\n") == 1


def test_the_digest_command_says_where_to_look_when_there_is_no_service(capsys, tmp_path):
    from service.cli import main

    assert main(["digest", "--data-dir", str(tmp_path / "nowhere")]) == 2
    assert "--data-dir" in capsys.readouterr().err
    assert not (tmp_path / "nowhere").exists()


def test_an_address_that_no_message_can_hold_does_not_keep_the_others_waiting(make):
    back = make()
    fleet(back)
    add_reader(back, "a@[")  # the library raises AttributeError for it
    add_reader(back)
    timetable(back).tick()
    assert [(mail.recipient, mail.state) for mail in mails(back)] == [
        ("a@[", "failed"),
        ("office@example.org", "sent"),
    ]
