"""Every page by axe-core and by a stricter measure of contrast: light, dark, desktop, phone.

Every address that gives a page has a row in `PAGES`; a new one without a row fails.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import axe_playwright_python
import pytest

from service.accounts.actions import make_setup_link, set_password_by_link
from service.accounts.customers import make_link
from service.app import create_app
from service.db.models import CustomerContact, Recipient, Site
from service.letters.stopping import letter_stop_url
from service.mail.stopping import stop_url
from tests.api.test_roles import routes
from tests.browser.build_served import seed, served
from tests.browser.contrast import CONTRAST
from tests.build_mail import add_reader
from tests.build_report import a_report
from tests.build_service import back_end, tidy_log
from tests.build_visits import STANDING, with_report

PASSWORD = "correct horse"
SITE = "/sites/mill-lane-4"
AXE = Path(axe_playwright_python.__file__).with_name("axe.min.js")
# The rules that depend on colours and on the width; the others are asked once.
SEEN = ("color-contrast", "scrollable-region-focusable", "target-size", "link-in-text-block")
# Where each page is found; "" stands for what is no page.
PAGES = {
    "/": "/",
    "/account": "/account",
    "/account/mail": "/account/mail",
    "/digest/{week}": "/digest/2025-W30",
    "/first-password": "/first-password?token=none",
    "/glossary": "/glossary",
    "/letters": "/letters",
    "/letters/{year}/{slug}": "/letters/2025/mill-lane-4",
    "/mail/stop/{token}": "/mail/stop/{stop}",
    "/operation": "/operation",
    "/mail/stop-letters/{token}": "/mail/stop-letters/{letters}",
    "/papers": "/papers",
    "/people": "/people",
    "/settings": "/settings",
    "/settings/recipients/{recipient_id}": "/settings/recipients/1",
    "/shared/{token}": "/shared/{link}",
    "/sign-in": "/sign-in",
    "/sign-in/code": "/sign-in/code",
    "/sites/new": "/sites/new",
    "/sites/{slug}": SITE,
    "/sites/{slug}/check": "",
    "/sites/{slug}/customer": f"{SITE}/customer",
    "/sites/{slug}/export": f"{SITE}/export",
    "/sites/{slug}/facts": f"{SITE}/facts",
    "/sites/{slug}/findings/{key}": f"{SITE}/findings/{{finding}}",
    "/sites/{slug}/gateway": f"{SITE}/gateway",
    "/sites/{slug}/logs": f"{SITE}/logs",
    "/sites/{slug}/logs/{upload_id}": f"{SITE}/logs/{{upload}}",
    "/sites/{slug}/privacy": f"{SITE}/privacy",
    "/sites/{slug}/readings": f"{SITE}/readings",
    "/sites/{slug}/report.html": f"{SITE}/report.html",
    "/sites/{slug}/sheet": f"{SITE}/sheet",
    "/sites/{slug}/warranty": f"{SITE}/warranty",
    "/sites/{slug}/weather": f"{SITE}/weather",
    "/trail": "/trail",
    "/visits": "/visits",
    "/visits/new": "/visits/new?site=mill-lane-4",
    "/visits/{visit_id}": "/visits/1",
    "/visits/{visit_id}/record": "/visits/1/record",
    "/webhooks": "/webhooks",
    "/health": "",
    "/health/live": "",
    "/health/ready": "",
    "/metrics": "",
    "/shared/{token}/sheet.pdf": "",
    "/sites/{slug}/day/{when}": "",
    "/sites/{slug}/heat/{size}": "",
    "/sites/{slug}/sheet.pdf": "",
    "/static/plotly.min.js": "",
    "/visits-worker.js": "",
    "/visits/{visit_id}/photos/{photo_id}": "",
    "/visits/{visit_id}/record.pdf": "",
}


@dataclass(frozen=True)
class House:
    """A running service with something on every page, and somebody who is signed in."""

    address: str
    names: dict[str, str]
    page: Any


@pytest.fixture(scope="module")
def house(
    tmp_path_factory: pytest.TempPathFactory,
    browser: Any,
) -> Iterator[House]:
    folder = tmp_path_factory.mktemp("axe")
    seed(folder)
    back = back_end(folder)
    back.clock.move(seconds=(datetime.now(UTC) - back.clock.now()).total_seconds())
    others = a_report(timezone="Europe/Berlin").findings
    finding, *_ = with_report(back, "mill-lane-4", STANDING, *others)
    heads = ",".join(["time", *(f"Q{place}" for place in range(1, 9))])
    log = "\n".join([heads, *tidy_log(hours=24).splitlines()[1:]])
    names = {"finding": finding, "upload": str(back.hand_in("mill-lane-4", log))}
    back.worker().work_all()
    add_reader(back, "owner@example.org")
    now = back.clock.now()
    with back.database.session() as db:
        token = make_setup_link(db, now=now)
        site = db.get(Site, back.site_id("mill-lane-4"))
        _, names["link"] = make_link(db, site=site, label="owner", days=9, made_by="x", now=now)
        reader = db.query(Recipient).one()
        address = stop_url(db, reader=reader, kind="digest", settings=back.settings)
        names["stop"] = address.rsplit("/", 1)[1]
        contact = CustomerContact(
            site_id=site.id, address="a@example.org", language="de", changed_at=now
        )
        db.add(contact)
        address = letter_stop_url(db, contact=contact, settings=back.settings)
        names["letters"] = address.rsplit("/", 1)[1]
    with back.database.session() as db:
        account = set_password_by_link(db, token=token, password=PASSWORD, now=now)
        account.login = "owner@example.org"
    with served(folder, "--web-only") as address:
        context = browser.new_context(base_url=address, bypass_csp=True)
        page = context.new_page()
        page.goto("/sign-in")
        page.fill("[name=login]", "owner@example.org")
        page.fill("[name=password]", PASSWORD)
        page.locator("main button").first.click()
        page.wait_for_url(lambda url: "/sign-in" not in url)
        page.goto("/visits/new?site=mill-lane-4")
        page.get_by_role("button", name="Plan it").click()
        page.wait_for_url("**/visits/1*")
        yield House(address, names, page)
        context.close()
    back.database.close()


def test_every_page_has_a_row(tmp_path: Path) -> None:
    back = back_end(tmp_path)
    served_paths = {
        route.path
        for route in routes(create_app(back.settings, back.database, back.clock))
        if "GET" in route.methods and not route.path.startswith("/api/")
    }
    back.database.close()
    assert served_paths == set(PAGES)


@pytest.mark.parametrize("route", [route for route, path in PAGES.items() if path])
def test_no_rule_is_broken_seriously(house: House, route: str) -> None:
    page = house.page
    page.emulate_media(color_scheme="light")
    page.set_viewport_size({"width": 1280, "height": 850})
    answer = page.goto(PAGES[route].format(**house.names))
    assert answer.status < 500
    assert route in EMPTY or answer.status == 200
    page.evaluate(AXE.read_text(encoding="utf-8"))
    wrong = broken(page) + unreadable(page)
    for scheme, width in (("dark", 1280), ("dark", 390), ("light", 390)):
        page.emulate_media(color_scheme=scheme)
        page.set_viewport_size({"width": width, "height": 850})
        wrong += broken(page, *SEEN) + unreadable(page)
    assert wrong == []
    # No page scrolls sideways on a phone.
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


# What answers with a word about why there is nothing.
EMPTY = ("/letters/{year}/{slug}",)


def broken(page: Any, *rules: str) -> list[str]:
    """Give the rules that are broken, and where, on the page as it stands."""
    only = {"runOnly": {"type": "rule", "values": list(rules)}} if rules else {}
    # It is in the page alone: for an answer from within a frame it would wait in vain.
    given = {"resultTypes": ["violations"], "iframes": False, **only}
    found = page.evaluate("options => axe.run(document, options)", given)
    return [
        f"{one['id']}: {node['html'][:120]}"
        for one in found["violations"]
        if one["impact"] in ("serious", "critical")
        for node in one["nodes"]
    ]


def unreadable(page: Any) -> list[str]:
    """Give the texts that this house, which takes no size for an excuse, finds too faint."""
    return [f"too faint: {text!r}, {ratio} to 1" for text, ratio in page.evaluate(CONTRAST)]


def test_a_broken_rule_is_seen(house: House) -> None:
    page = house.page
    page.goto("/papers")
    page.evaluate(AXE.read_text(encoding="utf-8"))
    page.evaluate("document.querySelector('h1').style.color = '#eee'")
    page.evaluate("document.querySelector('main').append(document.createElement('input'))")
    assert {one.split(":")[0] for one in broken(page)} == {"color-contrast", "label"}
    (faint,) = unreadable(page)
    assert faint.startswith("too faint: 'Papers of")


def test_pages_follow_the_scheme_that_is_asked_for(house: House) -> None:
    page = house.page
    page.goto("/")
    grounds = []
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        grounds.append(page.evaluate("getComputedStyle(document.documentElement).backgroundColor"))
    assert grounds[0] != grounds[1] == "rgb(13, 25, 29)"
