"""A visit on a phone whose connection is cut: nothing typed is lost, and it arrives once."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from service.accounts.actions import make_setup_link, set_password_by_link
from service.db.models import Account, Visit, VisitEntry, VisitPhoto, VisitSave
from tests.browser.build_served import seed, served
from tests.browser.contrast import CONTRAST
from tests.build_service import BackEnd, back_end, tidy_log
from tests.build_visits import STANDING, a_located_photo, with_report

PASSWORD = "correct horse"
PHOTO = {"name": "roof.jpg", "mimeType": "image/jpeg", "buffer": a_located_photo()}


@dataclass(frozen=True)
class House:
    """A running service that asks for a password, and its data."""

    address: str
    back: BackEnd

    def stored(self, visit: int) -> tuple[dict[str, list[str]], int, int]:
        """Give all that was ever stored of each field, the saves and the photos."""
        with self.back.database.reading() as db:
            entries = db.query(VisitEntry).filter_by(visit_id=visit).order_by(VisitEntry.id)
            typed: dict[str, list[str]] = {}
            for one in entries:
                typed.setdefault(one.field, []).append(one.value)
            saves = db.query(VisitSave).filter_by(visit_id=visit).count()
            return typed, saves, db.query(VisitPhoto).filter_by(visit_id=visit).count()

    def state(self, visit: int) -> str:
        with self.back.database.reading() as db:
            found = db.get(Visit, visit)
            assert found is not None
            return found.state


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    folder = tmp_path_factory.mktemp("visits")
    seed(folder)
    back = back_end(folder)
    back.clock.move(seconds=(datetime.now(UTC) - back.clock.now()).total_seconds())
    with_report(back, "mill-lane-4", STANDING)
    with back.database.session() as db:
        token = make_setup_link(db, now=back.clock.now())
    with back.database.session() as db:
        account = set_password_by_link(db, token=token, password=PASSWORD, now=back.clock.now())
        account.name = "Ann Fitter"
    with served(folder) as address:
        yield House(address, back)
    back.database.close()


@pytest.fixture(scope="module")
def signed_in(browser: Any, house: House) -> Any:
    """Sign in once; gives what a browser remembers of it."""
    context = browser.new_context(base_url=house.address)
    page = context.new_page()
    page.goto("/sign-in")
    sign_in(house, page)
    remembered = context.storage_state()
    context.close()
    return remembered


@pytest.fixture
def phone(browser: Any, house: House, signed_in: Any) -> Iterator[Any]:
    """Give a phone that is signed in; whatever its pages throw fails the test."""
    context = browser.new_context(
        base_url=house.address,
        storage_state=signed_in,
        viewport={"width": 390, "height": 844},
        is_mobile=True,
        has_touch=True,
    )
    thrown: list[str] = []
    context.on("weberror", lambda error: thrown.append(str(error.error)))
    yield context
    context.close()
    assert thrown == []


def sign_in(house: House, page: Any) -> None:
    with house.back.database.reading() as db:
        login = db.query(Account).one().login
    page.fill("[name=login]", login)
    page.fill("[name=password]", PASSWORD)
    page.locator("main button").first.click()
    page.wait_for_url(lambda url: "/sign-in" not in url)


def planned(context: Any) -> tuple[Any, int]:
    """Plan a visit on the phone and wait until it would open without a connection."""
    page = context.new_page()
    page.set_default_timeout(20_000)
    page.goto("/visits/new?site=mill-lane-4")
    # What an earlier visit took care of is not ticked of itself.
    for box in page.locator("[name=finding]").all():
        box.check()
    page.get_by_role("button", name="Plan it").click()
    page.wait_for_selector("body[data-ready][data-keeps]")
    found = re.search(r"/visits/(\d+)", page.url)
    assert found is not None
    return page, int(found[1])


def shows(page: Any, name: str, value: str) -> None:
    page.wait_for_function(
        "([name, value]) => document.querySelector(`[name='${name}']`)?.value === value",
        arg=[name, value],
    )


def settled(page: Any) -> None:
    page.locator("[data-sync]").filter(has_text="kept and sent").wait_for()


def test_what_is_typed_without_connection_survives_and_arrives_once(
    phone: Any, house: House
) -> None:
    page, visit = planned(phone)
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        assert page.evaluate(CONTRAST) == []
    phone.set_offline(True)
    page.fill("[name=pressure_left_bar]", "1,9")
    page.fill("[name=notes]", "Pump seized.\nChanged it.")
    page.get_by_text("this was it").nth(1).tap()
    page.set_input_files("#photo", PHOTO)
    page.locator("[data-sync]").filter(has_text="No connection").wait_for()
    page.locator("[data-photos] li").wait_for()
    assert house.stored(visit) == ({}, 0, 0)

    page.reload()
    page.wait_for_selector("body[data-ready]")
    shows(page, "pressure_left_bar", "1,9")
    assert page.locator("[name='check.0.1'][value=found]").is_checked()
    assert page.locator("[data-photos] li").count() == 1
    assert page.evaluate("document.documentElement.scrollWidth") <= 390

    page.close(run_before_unload=False)
    page = phone.new_page()
    page.goto(f"/visits/{visit}")
    page.wait_for_selector("body[data-ready]")
    shows(page, "notes", "Pump seized.\nChanged it.")
    page.locator("label").filter(has_text="Put right").tap()
    page.get_by_role("button", name="Finish the visit").tap()
    page.locator("[data-sync]").filter(has_text="No connection").wait_for()
    # The worker is cut off as well: what it never saw cannot be opened, but it knows the way back.
    other = phone.new_page()
    other.goto("/visits/999999")
    assert "No connection" in other.locator("h1").inner_text()
    other.get_by_role("link", name="Visit to Mill Lane 4").and_(
        other.locator(f"[href='/visits/{visit}']")
    ).tap()
    other.wait_for_selector("body[data-ready]")
    other.close()
    assert house.stored(visit) == ({}, 0, 0)

    phone.set_offline(False)
    page.get_by_text("on record since").wait_for(timeout=40_000)
    typed, _, photos = house.stored(visit)
    assert typed == {
        "pressure_left_bar": ["1,9"],
        "notes": ["Pump seized.\nChanged it."],
        "check.0.1": ["found"],
        "finding.0.outcome": ["put_right"],
        "name": ["Ann Fitter"],  # proposed, and left standing
    }
    assert photos == 1
    assert house.state(visit) == "finished"


def test_a_sign_in_that_ended_meanwhile_loses_nothing(phone: Any, house: House) -> None:
    page, visit = planned(phone)
    phone.set_offline(True)
    page.fill("[name=ph]", "7.8")
    page.locator("[data-sync]").filter(has_text="No connection").wait_for()
    phone.clear_cookies()
    phone.set_offline(False)
    page.locator("[data-sync] a").filter(has_text="Sign in").wait_for(timeout=40_000)
    assert house.stored(visit) == ({}, 0, 0)
    page.locator("[data-sync] a").tap()
    page.wait_for_url("**/sign-in**")
    # Nobody reads here what the one before had opened.
    assert page.evaluate("caches.has('suntally-visits')") is False
    sign_in(house, page)
    page.wait_for_selector("body[data-ready]")
    shows(page, "ph", "7.8")
    settled(page)
    assert house.stored(visit)[0] == {"ph": ["7.8"]}


def test_a_save_whose_answer_was_lost_is_stored_once(
    browser: Any, house: House, signed_in: Any
) -> None:
    """The service stores the first try, the phone never hears of it and sends it again."""
    context = browser.new_context(
        base_url=house.address, storage_state=signed_in, service_workers="block"
    )
    lost: list[str] = []

    def lose_the_first(route: Any) -> None:
        if lost:
            route.continue_()
            return
        lost.append(route.request.post_data)
        assert route.fetch().status == 200
        route.abort()

    page = context.new_page()
    page.goto("/visits/new?site=mill-lane-4")
    page.get_by_role("button", name="Plan it").click()
    page.wait_for_selector("body[data-ready]")
    visit = int(page.url.split("/visits/")[1].split("?")[0])
    context.route("**/saves", lose_the_first)
    with page.expect_event("requestfailed"):
        page.fill("[name=ph]", "8.1")
    assert house.stored(visit) == ({"ph": ["8.1"]}, 1, 0)
    page.reload()
    page.wait_for_selector("body[data-ready]")
    settled(page)
    assert len(lost) == 1
    assert house.stored(visit) == ({"ph": ["8.1"]}, 1, 0)
    context.close()


def test_a_photo_that_was_too_slow_is_kept_and_tried_again(
    browser: Any, house: House, signed_in: Any
) -> None:
    context = browser.new_context(
        base_url=house.address, storage_state=signed_in, service_workers="block"
    )
    page = context.new_page()
    page.clock.install()
    page.goto("/visits/new?site=mill-lane-4")
    page.get_by_role("button", name="Plan it").click()
    page.wait_for_selector("body[data-ready]")
    visit = int(page.url.split("/visits/")[1].split("?")[0])
    context.route("**/photos?*", lambda route: route.fulfill(status=408, json={"detail": "slow"}))
    page.set_input_files("#photo", PHOTO)
    page.locator("[data-sync]").filter(has_text="too slow now. It is tried again").wait_for()
    assert house.stored(visit)[2] == 0
    context.unroute("**/photos?*")
    page.clock.fast_forward(15_000)
    settled(page)
    assert house.stored(visit)[2] == 1
    context.close()


def test_the_card_is_read_on_the_spot_and_what_was_typed_stays(
    phone: Any, house: House, tmp_path: Path
) -> None:
    card = tmp_path / "card.csv"
    card.write_text(tidy_log(hours=48), encoding="utf-8")
    page, _ = planned(phone)
    assert "still shows" in page.locator(".verdicts").inner_text()
    page.fill("[name=notes]", "typed before the card")
    page.set_input_files("#files", str(card))
    page.get_by_role("button", name="Hand in").tap()
    # It is read, the page follows, and says what the newest data make of the finding.
    page.locator("[data-uploads] li[data-state=stored]").filter(has_text="card.csv").wait_for()
    page.wait_for_function(
        "() => !('follow' in document.body.dataset) && "
        "/do not show it|do not let it|Over since/.test("
        "document.querySelector('.verdicts')?.innerText ?? '')",
        timeout=60_000,
    )
    shows(page, "notes", "typed before the card")
