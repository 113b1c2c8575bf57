"""Every page in a real browser, which tells what the content security policy kept from happening.

The pages are those of the table of `tests/api/test_roles.py`, so that a new one is opened too.
"""

from collections.abc import Iterator
from typing import Any

import pytest

from tests.api.test_roles import NEEDS

GIVEN = {
    "{slug}": "mill-lane-4",
    "{key}": "lost_circulation-20250503T0810",
    "{week}": "2025-W20",
    "{when}": "2025-05-17",
    "{year}": "2025",
    "{token}": "nothing",
    "{recipient_id}": "1",
    "{upload_id}": "1",
    "{visit_id}": "1",
    "{photo_id}": "1",
    "{size}": "month",
}
_NO_PAGES = (".js", ".pdf", ".csv", "/photos/", "/export", "/api/")
_TELL = """
window.kept = [];
document.addEventListener("securitypolicyviolation", (one) => window.kept.push(
  `${one.effectiveDirective} ${one.sourceFile}:${one.lineNumber} ${one.sample} ` +
  `${one.target?.outerHTML?.slice(0, 120)}`));
"""
_COME_NEAR = """async () => {
  const boxes = [...document.querySelectorAll("[data-plot]")];
  for (const box of boxes) {
    if (!box.offsetParent) continue;
    box.scrollIntoView();
    for (let i = 0; i < 200 && !box.dataset.drawn; i++) await new Promise((r) => setTimeout(r, 25));
  }
  return boxes.filter((box) => box.dataset.drawn).length;
}"""


def pages() -> list[str]:
    """Give the addresses of all pages."""
    found = []
    for needed in NEEDS:
        method, _, path = needed.partition(" ")
        for name, value in GIVEN.items():
            path = path.replace(name, value)
        if method == "GET" and not any(part in path for part in _NO_PAGES):
            found.append(path)
    return found


@pytest.fixture(scope="module")
def page(browser: Any, address: str) -> Iterator[Any]:
    context = browser.new_context(base_url=address)
    page = context.new_page()
    page.add_init_script(_TELL)
    yield page
    context.close()


def test_no_page_does_what_its_policy_forbids(page: Any) -> None:
    drawn, kept = 0, {}
    opened = pages()
    assert len(opened) > 25
    for path in opened:
        assert "{" not in path
        answer = page.goto(path)
        assert answer.status < 500
        drawn += page.evaluate(_COME_NEAR)
        for frame in page.frames:
            if broken := frame.evaluate("window.kept"):
                kept[path] = broken
    assert kept == {}
    assert drawn >= 4  # figures of the site, the finding, the report


def test_what_somebody_would_slip_into_a_page_does_nothing(page: Any) -> None:
    page.goto("/sites/mill-lane-4")
    page.evaluate(
        """() => {
          const add = (html) => document.body.append(
            document.createRange().createContextualFragment(html));
          add('<img src=x onerror="window.slipped = 1">');
          add('<script>window.slipped = 2</' + 'script>');
          add('<style>h1 { color: rgb(1, 2, 3) }</style>');
          add('<p id="odd" style="color: rgb(1, 2, 3)">odd</p>');
        }"""
    )
    page.wait_for_function("window.kept.length >= 4")
    assert page.evaluate("window.slipped") is None
    colour = "(at) => getComputedStyle(document.querySelector(at)).color"
    assert page.evaluate(colour, "h1") != "rgb(1, 2, 3)"
    assert page.evaluate(colour, "#odd") != "rgb(1, 2, 3)"


def test_a_mail_is_shown_in_its_own_styles(page: Any) -> None:
    page.goto("/digest/2025-W20")
    frame = page.frames[1]
    assert frame.evaluate("getComputedStyle(document.body).margin") == "0px"
    assert frame.evaluate("window.kept") == []
