"""What all tests in a browser share: Chromium and a served site, started once for a whole room."""

from collections.abc import Iterator
from typing import Any

import pytest

from tests.browser.build_served import CHROMIUM, Opener, seed, served


@pytest.fixture(scope="package")
def browser() -> Iterator[Any]:
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine")
    from playwright.sync_api import expect, sync_playwright

    # As long as a busy machine needs: no test hangs on the clock.
    expect.set_options(timeout=30_000)
    with sync_playwright() as playwright:
        # Every page has a context of its own; that they share a process saves half the processes.
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--renderer-process-limit=1"]
        )
        yield browser
        browser.close()


@pytest.fixture(scope="package")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Serve one site; who hands logs in, or changes facts, does so to a site of its own."""
    folder = tmp_path_factory.mktemp("browser")
    seed(folder)
    with served(folder) as address:
        yield address


@pytest.fixture
def open_page(browser: Any, address: str) -> Iterator[Opener]:
    """Open a page; afterwards nothing may have been complained of in its console."""
    complaints: list[str] = []
    contexts: list[Any] = []

    def opened(path: str, *, width: int = 1280, refusal: str = "none", **given: Any) -> Any:
        context = browser.new_context(
            base_url=address, viewport={"width": width, "height": 850}, **given
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on(
            "console",
            lambda said: (
                said.type == "error"
                and refusal not in said.text
                and complaints.append(f"{said.text} {said.location}")
            ),
        )
        page.on(
            "requestfailed",
            lambda failed: (
                "ERR_ABORTED" not in (failed.failure or "")  # left before it came
                and complaints.append(failed.url)
            ),
        )
        page.on(
            "request",
            lambda sent: (
                not sent.url.startswith((address, "data:", "blob:"))
                and complaints.append(f"another host was asked: {sent.url}")
            ),
        )
        page.goto(path)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert complaints == []
