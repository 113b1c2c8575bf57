"""Consents, and erasing an installation: what goes, what stays, that nothing else is touched."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from service.accounts.customers import make_link
from service.accounts.trail import add as add_trail
from service.db.base import Base
from service.db.models import (
    Consent,
    CustomerContact,
    CustomerLink,
    KeptPapers,
    Outbox,
    OutboxPart,
    Recipient,
    Site,
    TrailEntry,
    Webhook,
    WebhookDelivery,
    YearlyLetter,
)
from tests.build_service import LOCAL, BackEnd, back_ends, site_file, tidy_log

# Tables of the firm; what they say of a site is looked at apart. What numbers of days are called
# says nothing of any site.
KEPT = ("trail_entry", "outbox", "recipient", "webhook", "webhook_delivery", "day_names")
FIRST = datetime(2025, 6, 1, tzinfo=UTC)
NAME = "Mill Lane 4"
KEEP = {"confirm": NAME, "keep": "yes", "why": "we answer for the tubes", "until": "2035-06-01"}
PAPERS = """
[commissioned]
filled = 2025-05-20
by = "A. Fitter"
serials = ["K 1"]

[warranty]
from = 2025-06-01
years = 10

[[warranty.term]]
kind = "visit"
years = 1
text = "Frau Mill wants it"

[[change]]
date = 2025-06-03
key = "loop.flow_l_min"
value = 2.2
why = "Frau Mill asked"
"""


@pytest.fixture
def back(tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path) as make:
        yield make()


@pytest.fixture
def client(back: BackEnd) -> Iterator[TestClient]:
    headers = {"accept": "text/html"}
    with TestClient(back.app(), base_url=LOCAL, headers=headers) as client:
        yield client


def agree(client: TestClient, slug: str, purpose: str, **fields: str):
    data = {"purpose": purpose, "given_by": "M. Mill", "given_on": "2025-06-01", **fields}
    return client.post(f"/sites/{slug}/privacy/consents", data=data)


def rows_of(back: BackEnd, model):
    with back.database.reading() as db:
        return db.query(model).order_by(model.id).all()


def test_a_consent_is_noted_with_who_when_and_how(back, client):
    slug = back.add_site()
    text = client.get(f"/sites/{slug}/privacy").text
    assert "Nothing on record for: a link with which" in text
    answer = agree(client, slug, "letter", how="signed the handover sheet")
    assert answer.url.query == b"message=recorded"
    (one,) = rows_of(back, Consent)
    assert (one.given_by, one.recorded_by, one.withdrawn_at) == ("M. Mill", "this machine", None)
    text = client.get(f"/sites/{slug}/privacy").text
    assert "signed the handover sheet" in text
    assert "M. Mill, 1 June 2025" in text
    assert "letters and mails about the plant;" not in text


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"purpose": "advertising"}, "Say what was agreed to"),
        ({"purpose": "letter", "given_by": " "}, "Say who agreed"),
        ({"purpose": "letter", "given_on": "2025-06-21"}, "still to come"),
        ({"purpose": "letter", "given_on": "June"}, "A day is needed"),
    ],
)
def test_a_consent_that_says_too_little_is_refused_and_stays_typed(back, client, fields, words):
    slug = back.add_site()
    answer = agree(client, slug, **{"how": "on the phone", **fields})
    assert answer.status_code == 422
    assert words in answer.text
    assert 'value="on the phone"' in answer.text
    assert rows_of(back, Consent) == []


def test_what_rested_on_a_consent_stops_with_it_and_nothing_else(back, client):
    slug, other = back.add_site(), back.add_site("Elm Row 2")
    keys = [back.add_key(one) for one in (slug, other)]
    with back.database.session() as db:
        for one in (slug, other):
            site = db.get_one(Site, back.site_id(one))
            make_link(db, site=site, label="x", days=9, made_by="o", now=back.clock.now())
    for purpose in ("sharing_link", "remote_reading"):
        agree(client, slug, purpose)
    first, second = (one.id for one in rows_of(back, Consent))
    assert client.post(f"/sites/{other}/privacy/consents/{first}/withdraw").status_code == 404
    client.post(f"/sites/{slug}/privacy/consents/{first}/withdraw")
    assert [one.withdrawn_at is None for one in rows_of(back, CustomerLink)] == [False, True]

    def pushes(site: str, key: str) -> int:
        return client.post(
            f"/api/sites/{site}/rows",
            json={"rows": [{"time": "2025-06-02T00:00:00Z", "t_collector_c": 20}]},
            headers={"authorization": f"Bearer {key}"},
        ).status_code

    assert pushes(slug, keys[0]) == 200
    client.post(f"/sites/{slug}/privacy/consents/{second}/withdraw")
    assert pushes(slug, keys[0]) == 401
    assert pushes(other, keys[1]) == 200
    when = [one.withdrawn_at for one in rows_of(back, Consent)]
    client.post(f"/sites/{slug}/privacy/consents/{first}/withdraw")
    assert [one.withdrawn_at for one in rows_of(back, Consent)] == when
    assert "withdrawal noted by this machine" in client.get(f"/sites/{slug}/privacy").text


def lived_in(back: BackEnd, client: TestClient) -> str:
    """Give a site that has something in as many tables as one can."""
    slug = back.add_site(text=site_file() + PAPERS)
    back.hand_in(slug, tidy_log(first=FIRST, hours=30))
    back.worker().work_all()
    agree(client, slug, "letter", how="Frau Mill said so")
    client.post(f"/sites/{slug}/customer", data={"label": "Frau Mill", "days": "9"})
    client.post(
        f"/sites/{slug}/readings", data={"at": "2025-06-02T12:00", "kwh": "12.5", "who": "F"}
    )
    with back.database.session() as db:
        site_id = back.site_id(slug)
        for number, (about, state, text) in enumerate(
            [
                (site_id, "sent", "the pump of Mill Lane 4"),
                (None, "sent", "Digest: Mill Lane 4, Elm Row 2"),
                (None, "waiting", "Look: http://sun.example/sites/mill-lane-4"),
                (None, "waiting", "Look: http://sun.example/sites/elm-row-2"),
                (None, "sent", "Digest: Elm Row 2"),
            ]
        ):
            db.add(
                Outbox(
                    firm_id=back.firm_id, site_id=about, message_id=f"<{number}@x>",
                    recipient="a@b", subject="s", text=text, html=text, state=state,
                    not_before=back.clock.now(),
                    created_at=back.clock.now(),
                )
            )  # fmt: skip
        db.add(
            CustomerContact(
                site_id=site_id, name="Frau Mill", address="mill@lane.example", language="de",
                changed_at=back.clock.now(),
            )
        )  # fmt: skip
        db.add(
            YearlyLetter(
                site_id=site_id, year=2024, serial=0, chosen_by="office",
                chosen_at=back.clock.now(), message_id="<letter@x>",
            )
        )  # fmt: skip
        letter = Outbox(
            firm_id=back.firm_id, message_id="<letter@x>", recipient="mill@lane.example",
            subject="s", text="Dear Frau M", html="", state="sent", not_before=back.clock.now(),
            created_at=back.clock.now(),
        )  # fmt: skip
        db.add(letter)
        db.flush()
        part = OutboxPart(outbox_id=letter.id, name="s.pdf", media_type="x/y", content=b"Frau Mill")
        db.add(part)
        hook = Webhook(
            firm_id=back.firm_id, url="https://x.example", events=[], secret="s", made_by="o",
            created_at=back.clock.now(),
        )  # fmt: skip
        db.add(hook)
        db.flush()
        for number, body in enumerate(('{"site": "mill-lane-4"}', '{"site": "elm-row-2"}')):
            message = WebhookDelivery(
                webhook_id=hook.id, event="finding", event_id=str(number), body=body, state="sent",
                not_before=back.clock.now(), created_at=back.clock.now(),
            )  # fmt: skip
            db.add(message)
        reader = Recipient(
            firm_id=back.firm_id, address="o@example.org", timezone="UTC",
            told={str(site_id): ["x"], "999": ["y"]}, created_at=back.clock.now(),
        )  # fmt: skip
        db.add(reader)
        add_trail(db, back.firm_id, who="o", what="pages.letters.show", subject=f"2024, {slug}",
                  now=back.clock.now())  # fmt: skip
    back.settings.outbox.mkdir(parents=True, exist_ok=True)
    mails = (
        ("a", "o@example.org", "Mill Lane 4 =C3=BC"),
        ("b", "o@example.org", "Elm Row 2"),
        ("c", "mill@lane.example", "What was saved"),
    )
    for name, to, words in mails:
        (back.settings.outbox / f"{name}.eml").write_text(
            f"To: {to}\nSubject: Digest\nContent-Type: text/plain; charset=utf-8\n"
            f"Content-Transfer-Encoding: quoted-printable\n\n{words}\n"
        )
    return slug


def bytes_with(folder: Path, words: bytes) -> list[str]:
    return [one.name for one in folder.rglob("*") if one.is_file() and words in one.read_bytes()]


def test_erasing_leaves_nothing_of_the_installation_in_any_file(back, client):
    slug = lived_in(back, client)
    other = back.add_site("Elm Row 2")
    back.hand_in(other, tidy_log(first=FIRST, hours=30, seed=5))
    folder = back.settings.data_dir
    assert bytes_with(folder, b"Mill Lane 4")
    answer = client.post(f"/sites/{slug}/privacy/erase", data={"confirm": NAME})
    assert answer.status_code == 200
    assert "It is erased" in answer.text
    for words in (b"Mill Lane 4", b"mill-lane-4", b"Frau Mill", b"mill@lane.example"):
        assert bytes_with(folder, words) == [], words
    assert client.get(f"/sites/{slug}").status_code == 404
    assert client.get(f"/sites/{other}").status_code == 200
    logs = [one for one in (folder / "uploads").rglob("*") if one.is_file()]
    assert [one.read_bytes() for one in logs] == [tidy_log(first=FIRST, hours=30, seed=5).encode()]


def test_the_trail_keeps_that_it_was_erased_but_not_what(back, client):
    slug = lived_in(back, client)
    client.post(f"/sites/{slug}/privacy/erase", data={"confirm": NAME})
    lines = rows_of(back, TrailEntry)
    assert lines[-1].what == "pages.privacy.erase"
    assert lines[-1].who == "this machine"
    assert {one.subject for one in lines} <= {None, "an erased installation"}
    assert "erased an installation" in client.get("/trail").text


def test_mails_that_name_it_lose_their_text_and_one_that_waits_is_not_sent(back, client):
    slug = lived_in(back, client)
    answer = client.post(f"/sites/{slug}/privacy/erase", data={"confirm": NAME})
    assert [(one.message_id, one.text) for one in rows_of(back, Outbox)] == [
        ("<1@x>", ""),
        ("<3@x>", "Look: http://sun.example/sites/elm-row-2"),
        ("<4@x>", "Digest: Elm Row 2"),
    ]
    assert "still waited and were not sent: 1." in answer.text
    assert [one.name for one in back.settings.outbox.glob("*.eml")] == ["b.eml"]
    assert [one.body for one in rows_of(back, WebhookDelivery)] == ['{"site": "elm-row-2"}']
    assert rows_of(back, Recipient)[0].told == {"999": ["y"]}


def test_no_row_of_any_table_is_left_behind(back, client):
    def counts() -> dict[str, int]:
        with back.database.reading() as db:
            return {
                table.name: db.query(table).count()
                for table in Base.metadata.sorted_tables
                if table.name not in KEPT
            }

    before = counts()
    slug = lived_in(back, client)
    assert {name for name, count in counts().items() if count > before[name]} >= {
        "site", "upload", "day_block", "day_row", "report", "consent", "customer_link",
        "site_file_version",
    }  # fmt: skip
    client.post(f"/sites/{slug}/privacy/erase", data={"confirm": NAME})
    assert counts() == before


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"confirm": "Mill Lane 5"}, "Nothing was erased"),
        ({}, "Nothing was erased"),
        ({"confirm": NAME, "keep": "yes", "until": "2031-01-01"}, "Say why the papers"),
        ({"confirm": NAME, "keep": "yes", "why": "tubes"}, "A day is needed"),
        ({**KEEP, "until": "2025-06-20"}, "Say until when"),
        ({**KEEP, "until": "2099-01-01"}, "30 years at most"),
    ],
)  # fmt: skip
def test_nothing_goes_where_the_form_is_not_whole(back, client, fields, words):
    slug = back.add_site()
    answer = client.post(f"/sites/{slug}/privacy/erase", data=fields)
    assert answer.status_code == 422
    assert words in answer.text
    assert client.get(f"/sites/{slug}").status_code == 200
    assert rows_of(back, KeptPapers) == []


def test_papers_that_have_to_stay_hold_no_name_no_place_and_no_reasons(back, client):
    slug = lived_in(back, client)
    answer = client.post(f"/sites/{slug}/privacy/erase", data=KEEP)
    (papers,) = rows_of(back, KeptPapers)
    assert papers.reference in answer.text
    held = str(papers.papers)
    for words in (NAME, "mill-lane", "48.0", "Frau Mill", "Berlin"):
        assert words not in held
    assert "K 1" in held
    assert papers.papers["terms"] == ["Somebody looks after the plant at least every year."]
    shown = client.get("/papers").text
    assert papers.reference in shown
    assert "Flow set [l/min]: 2.2" in shown
    client.post(f"/papers/{papers.id}/erase")
    assert "None." in client.get("/papers").text


def test_kept_papers_go_by_themselves_when_their_time_is_over(back, client):
    slug = lived_in(back, client)
    client.post(f"/sites/{slug}/privacy/erase", data={**KEEP, "until": "2025-06-21"})
    back.worker().tidy()
    assert len(rows_of(back, KeptPapers)) == 1
    back.clock.moment += timedelta(days=2)
    back.worker().tidy()
    assert rows_of(back, KeptPapers) == []


def test_a_deleted_site_that_is_purged_leaves_no_trace_either(back, client):
    slug = lived_in(back, client)
    client.post(f"/sites/{slug}/delete", data={"confirm": NAME})
    back.clock.moment += timedelta(days=31)
    back.worker().tidy()
    assert {one.subject for one in rows_of(back, TrailEntry)} <= {None, "an erased installation"}
    folder = back.settings.data_dir
    assert [one for one in bytes_with(folder, b"Mill Lane 4") if not one.endswith(".eml")] == []


def test_only_an_owner_may_erase(tmp_path):
    from service.accounts import people

    with back_ends(tmp_path) as make:
        back = make(host="0.0.0.0")
        slug = back.add_site()
        with back.database.session() as db:
            _, key = people.make_key(
                db, firm_id=back.firm_id, label="o", role="office", now=back.clock.now()
            )
        headers = {"authorization": f"Bearer {key}", "accept": "text/html"}
        with TestClient(back.app(), base_url="http://sun.example", headers=headers) as client:
            assert "Only an owner" in client.get(f"/sites/{slug}/privacy").text
            answer = client.post(f"/sites/{slug}/privacy/erase", data={"confirm": NAME})
            assert answer.status_code == 403
            assert client.get(f"/sites/{slug}").status_code == 200


def test_postgresql_erases_as_well(tmp_path):
    with back_ends(tmp_path, "postgres") as make:
        back = make()
        with TestClient(back.app(), base_url=LOCAL, headers={"accept": "text/html"}) as client:
            slug = lived_in(back, client)
            assert client.post(f"/sites/{slug}/privacy/export").status_code == 200
            answer = client.post(f"/sites/{slug}/privacy/erase", data=KEEP)
        assert "It is erased" in answer.text
        assert rows_of(back, Site) == []
        assert [one.text for one in rows_of(back, Outbox)] == [
            "", "Look: http://sun.example/sites/elm-row-2", "Digest: Elm Row 2",
        ]  # fmt: skip
        assert {one.subject for one in rows_of(back, TrailEntry)} == {"an erased installation"}


def test_an_analysis_that_was_under_way_brings_nothing_back(back, client, monkeypatch):
    """The site is erased between what the worker read and what it writes."""
    from service.assessments import actions

    slug = back.add_site(text=site_file() + PAPERS)
    back.hand_in(slug, tidy_log(first=FIRST, hours=30))
    worker = back.worker()
    analyse = actions._think

    def meanwhile(*args, **kwargs):
        found = analyse(*args, **kwargs)
        client.post(f"/sites/{slug}/privacy/erase", data={"confirm": NAME})
        return found

    monkeypatch.setattr(actions, "_think", meanwhile)
    worker.work_all()
    with back.database.reading() as db:
        for table in ("site", "report", "day_row", "day_block", "upload"):
            assert db.query(Base.metadata.tables[table]).count() == 0, table
    assert worker.work_once() is False
