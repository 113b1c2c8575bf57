"""Yearly letters: only with consent, chosen by a person, once for each customer and year."""

from datetime import date
from io import BytesIO

import pytest
from fastapi.testclient import TestClient

from analysis.results import Bounded
from analysis.savings_result import YearFigures
from service.db.models import Consent, Site, YearlyLetter
from service.letters import actions
from tests.build_mail import MONDAY, files, mails, save_report, timetable
from tests.build_report import a_finding, a_report
from tests.build_service import LOCAL, back_ends

ORIGIN = {"Origin": LOCAL}
YEAR = YearFigures(
    year=2025, first="2025-01-01", last="2025-12-31", coverage=0.98,
    delivered=Bounded(value=981.0, low=853.0, high=1109.0), healthy=None,
    irradiation_kwh_m2=None, savings=None, healthy_money_net=None,
)  # fmt: skip


@pytest.fixture
def back(tmp_path):
    with back_ends(tmp_path) as make:
        yield make()


@pytest.fixture
def client(back):
    with TestClient(back.app(), base_url=LOCAL, follow_redirects=False) as client:
        yield client


def customer(back, name="Mill Lane 4", *, language="de", agreed=True, private=False):
    back.clock.moment = MONDAY
    slug = back.add_site(name)
    away = a_finding(kind="no_draw", urgency="watch", summary="Nobody used hot water.")
    save_report(back, slug, a_report(findings=(away,) if private else (), years=(YEAR,)))
    with back.database.session() as db:
        site = db.get(Site, back.site_id(slug))
        actions.set_contact(
            db, site=site, name="A. Owner", address=f"{slug}@example.org", language=language,
            now=back.clock.now(),
        )  # fmt: skip
        if agreed:
            db.add(
                Consent(
                    site_id=site.id,
                    purpose="letter",
                    given_by="A. Owner",
                    how="by word",
                    given_on=date(2025, 1, 1),
                    recorded_by="office",
                    recorded_at=back.clock.now(),
                )
            )
    return slug


def send(client, back, *sites, serial=0, sure=True):
    boxes = [f"{back.site_id(slug)}:{serial}" for slug in sites]
    data = {"letter": boxes, **({"sure": "true"} if sure else {})}
    return client.post("/letters/2025", data=data, headers=ORIGIN)


def test_a_letter_goes_out_once_in_the_customers_language_with_the_sheet(back, client):
    slug = customer(back, private=True)
    page = client.get("/letters?year=2025").text
    assert "Mill Lane 4" in page.partition("Can be sent")[2]
    assert "Was Ihre Solarheizung 2025 gespart hat" in client.get(f"/letters/2025/{slug}").text
    asked = send(client, back, slug, sure=False)
    assert "Send 1 letter?" in asked.text
    assert "mill-lane-4@example.org" in asked.text
    timetable(back).tick()
    assert mails(back) == []  # nothing leaves before somebody is sure
    assert send(client, back, slug).status_code == 303
    assert send(client, back, slug).status_code == 303  # the same form, pressed twice
    for _ in range(2):
        timetable(back).tick()
    (message,) = files(back)
    assert message["To"] == "mill-lane-4@example.org"
    assert message["Subject"].strip() == "Was Ihre Solarheizung 2025 gespart hat"
    text = message.get_body(("plain",)).get_content()
    assert "Guten Tag, A. Owner," in text
    assert "Wärme von der Sonne: 981 kWh" in text
    assert "nicht bekannt\n" not in text
    assert "Take care" not in text
    assert "hot water" not in message.as_string()
    (sheet,) = message.iter_attachments()
    assert sheet.get_content_type() == "application/pdf"
    assert BytesIO(sheet.get_content()).read(5) == b"%PDF-"
    assert "1 of 1 sent" in client.get("/letters?year=2025").text


def test_it_can_be_sent_again_on_purpose_only(back, client):
    slug = customer(back)
    send(client, back, slug)
    timetable(back).tick()
    again = send(client, back, slug, serial=1, sure=False)
    assert "once more" in again.text
    for _ in range(2):
        send(client, back, slug, serial=1)
    timetable(back).tick()
    assert len(files(back)) == 2


def test_without_consent_address_or_figures_there_is_none(back, client):
    without = customer(back, "No consent", agreed=False)
    back.add_site("No address")
    page = client.get("/letters?year=2025").text.partition("Get none, and why")[2]
    address, missing = (part.partition("</ul>")[0] for part in page.split("<h3>")[1:])
    assert missing.startswith("The customer&#39;s consent to letters is not on record.</h3>")
    assert address.startswith("No mail address of the customer is on record.</h3>")
    assert ("No consent</a>" in missing, "No address</a>" in missing) == (True, False)
    assert ("No consent</a>" in address, "No address</a>" in address) == (False, True)
    send(client, back, without)
    timetable(back).tick()
    assert mails(back) == []
    with_all = customer(back)
    other = client.get("/letters?year=2019").text.partition("Get none, and why")[2]
    unknown = other.partition("<h3>Nothing is known of this year.</h3>")[2]
    assert "Mill Lane 4</a>" in unknown.partition("</ul>")[0]
    assert client.get(f"/letters/2019/{with_all}").status_code == 409


def test_a_consent_taken_back_before_the_mail_is_written_holds(back, client):
    slug = customer(back)
    send(client, back, slug)
    with back.database.session() as db:
        (consent,) = db.query(Consent).all()
        consent.withdrawn_at = back.clock.now()
    timetable(back).tick()
    assert mails(back) == []
    assert "not written" in client.get("/letters?year=2025").text


def test_its_link_takes_the_consent_back_and_refuses_further_letters(back, client):
    slug = customer(back)
    send(client, back, slug)
    timetable(back).tick()
    (message,) = files(back)
    link = message["List-Unsubscribe"].strip("<> ")
    assert message["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert link in message.get_body(("plain",)).get_content()
    assert link in message.get_body(("html",)).get_content()
    path = link.removeprefix(back.settings.public_url)
    send(client, back, slug, serial=1)
    timetable(back).letters()
    assert [one.state for one in mails(back)] == ["sent", "waiting"]
    asked = client.get(path)  # a mail scanner's look stops nothing
    assert "Keine mehr schicken</button>" in asked.text
    assert '<html lang="de"' in asked.text
    assert "consent to letters is not on record" not in client.get("/letters?year=2025").text
    for _ in range(2):  # as a mail program does it, without an origin; a second time is no harm
        assert "Abbestellt" in client.post(path, data={"List-Unsubscribe": "One-Click"}).text
    assert [one.state for one in mails(back)] == ["sent"]
    send(client, back, slug, serial=2)
    timetable(back).tick()
    assert len(files(back)) == 1
    with back.database.reading() as db:
        (consent,) = db.query(Consent).all()
        assert (consent.withdrawn_by, consent.withdrawn_at) == (
            "mill-lane-4@example.org",
            back.clock.now(),
        )
    assert client.get(path[:-3] + "abc").status_code == 404


def test_a_crash_between_two_letters_sends_each_once(back, client, monkeypatch):
    slugs = [customer(back, name, language="en") for name in ("One", "Two")]
    send(client, back, *slugs)
    whole = actions.outbox.put
    calls = []

    def dies(db, mail, **given):
        calls.append(given["recipient"])
        if len(calls) == 2:
            raise RuntimeError("the power went")
        return whole(db, mail, **given)

    monkeypatch.setattr(actions.outbox, "put", dies)
    timetable(back).letters()
    assert [one.recipient for one in mails(back)] == ["one@example.org"]
    monkeypatch.undo()
    back.clock.move(minutes=2)
    for _ in range(2):
        timetable(back).tick()
    assert sorted(one["To"] for one in files(back)) == ["one@example.org", "two@example.org"]
    with back.database.reading() as db:
        assert {one.laid_at is not None for one in db.query(YearlyLetter)} == {True}


def test_the_office_notes_and_forgets_an_address(back, client):
    slug = customer(back)
    path = f"/sites/{slug}/customer/contact"
    wrong = client.post(path, data={"address": "nobody", "language": "en"}, headers=ORIGIN)
    assert wrong.status_code == 422
    assert "no mail address" in wrong.text or "not a mail address" in wrong.text
    right = {"address": "new@example.org", "language": "en", "name": "B"}
    assert client.post(path, data=right, headers=ORIGIN).status_code == 303
    assert "new@example.org" in client.get(f"/sites/{slug}/customer").text
    client.post(path, data={"address": "", "language": "en"}, headers=ORIGIN)
    assert "new@example.org" not in client.get(f"/sites/{slug}/customer").text
