"""Take README's pictures from the running demo, in a real browser.

    python -m tests.pictures [FOLDER]

The demo is made and served by its own command; `FOLDER` keeps it for the next run, without it a
new one is made each time (one to two minutes). The pictures go to `fixtures/pictures`, as PNGs
with a palette. Look at each before it is kept.
"""

import io
import re
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from PIL import Image

from dashboards.weeks import week_before
from tests.browser.build_served import CHROMIUM, wait_until_up

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / "fixtures" / "pictures"
MOST_BYTES = 150_000
_COLOURS = 256
# Sites of the demo (`fixtures.fleet`): a pump that died, and a sound plant.
_FAULTY, _SOUND = "/sites/tanhouse-row-4", "/sites/mill-race-9"
# Charts draw themselves when they come into view; a picture shows what is on the first screen.
_DRAWN = """() => [...document.querySelectorAll("[data-plot]")].every((box) =>
  box.getBoundingClientRect().top > innerHeight || box.dataset.drawn === "yes")"""


@dataclass(frozen=True)
class Screen:
    """The part of a page that a picture shows, in pixels of the page; `dense`: dots for each."""

    width: int
    height: int
    dense: float = 1.0


DESK = Screen(width=1200, height=806)
PHONE = Screen(width=390, height=800, dense=1.5)
PAPER = Screen(width=640, height=1313)


def take_all(browser: Any, address: str) -> None:
    """Walk through the demo and keep what it shows."""
    take = Camera(browser, address)
    take.shot("fleet", DESK, "/")
    take.shot("site", DESK, _FAULTY)
    take.shot("finding", DESK, take.first_finding(_FAULTY))
    take.shot("site-phone", PHONE, _FAULTY)
    take.shot("visit-phone", PHONE, take.planned_visit(_FAULTY))
    take.shot("sheet", PAPER, f"{_SOUND}/sheet")
    today = (datetime.now(UTC) - timedelta(days=1)).date()
    take.shot("digest", PAPER, f"/digest/{week_before(today)}", mail=True)


class Camera:
    """Opens pages of one address and keeps pictures of them."""

    def __init__(self, browser: Any, address: str) -> None:
        self._browser, self._address = browser, address

    def shot(self, name: str, screen: Screen, path: str, *, mail: bool = False) -> None:
        """Keep what a page shows first; with `mail`, the mail that the page holds."""
        with self._page(screen) as page:
            assert page.goto(path, wait_until="networkidle").ok, path
            if mail:
                page.set_content(page.locator("iframe").get_attribute("srcdoc"))
            page.wait_for_function(_DRAWN)
            page.evaluate("() => document.fonts.ready.then(() => true)")
            keep(name, page.screenshot())

    def first_finding(self, site: str) -> str:
        """Give where a site's most urgent finding stands."""
        with self._page(DESK) as page:
            page.goto(site)
            return str(page.locator("#findings .findings a").first.get_attribute("href"))

    def planned_visit(self, site: str) -> str:
        """Plan a visit and give where its form stands."""
        with self._page(PHONE) as page:
            page.goto(f"/visits/new?site={site.rpartition('/')[2]}")
            page.get_by_role("button", name="Plan it").click()
            page.wait_for_url(re.compile(r"/visits/\d+"))
            return str(page.url)

    @contextmanager
    def _page(self, screen: Screen) -> Iterator[Any]:
        context = self._browser.new_context(
            base_url=self._address,
            viewport={"width": screen.width, "height": screen.height},
            device_scale_factor=screen.dense,
            color_scheme="light",
            service_workers="block",
        )
        try:
            yield context.new_page()
        finally:
            context.close()


def keep(name: str, png: bytes) -> None:
    """Write a picture with a palette of its own."""
    shown = Image.open(io.BytesIO(png)).convert("RGB")
    file = FOLDER / f"{name}.png"
    few = shown.quantize(_COLOURS, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    few.save(file, optimize=True)
    size = file.stat().st_size
    assert size < MOST_BYTES, f"{file.name} has {size} bytes"
    sys.stdout.write(f"{file.name}: {few.width} x {few.height}, {size / 1000:.0f} kB\n")


@contextmanager
def demo(folder: Path) -> Iterator[str]:
    """Make the demo where there is none and serve it; gives its address."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "service.cli", "demo", "--data-dir", str(folder)]
    subprocess.run([*command, "--no-serve"], cwd=ROOT, check=True)
    server = subprocess.Popen([*command, "--port", str(port)], cwd=ROOT)
    address = f"http://127.0.0.1:{port}"
    try:
        wait_until_up(address, server)
        yield address
    finally:
        server.terminate()
        server.wait(30)


def main() -> None:
    """Make or serve the demo, and take every picture."""
    from playwright.sync_api import sync_playwright

    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as passing:
        folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(passing) / "demo"
        with demo(folder) as address, sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
            take_all(browser, address)
            browser.close()


if __name__ == "__main__":
    main()
