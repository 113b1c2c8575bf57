"""What the pages of a site with ten years of data cost in a real browser; prints a table.

    python -m tests.bench.pages [FOLDER]

One invented year is simulated; its log is handed in ten times, each time with another year in its
stamps, and read and looked at by the real worker. The years are alike, which costs a page as much
as unlike ones. `FOLDER` keeps the store for the next run; without it a new one is made each time.
The server and Chromium run on the same machine, so their work adds up. Wire bytes are as the
browser counts them (`encodedDataLength`: compressed bodies with heads); the chart program is left
out because browsers keep it.
"""

import os
import statistics
import sys
import tempfile
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from fixtures.fleet import DEMO_SITES, demo_files
from service.clock import FixedClock
from tests.browser.build_served import CHROMIUM, served
from tests.build_service import BackEnd, back_end

YEARS = range(2015, 2025)
SLUG = "hawthorn-bank-2"
TRIES = 5
_YEAR_PAGE = f"/sites/{SLUG}?until=2019-12-31"
_PAINT = """() => performance.getEntriesByType("paint")
  .find((entry) => entry.name === "first-contentful-paint")?.startTime ?? null"""
_DRAWN = "() => document.querySelector('[data-plot=%s]')?.dataset.drawn === 'yes'"
# Presses the button for another day and waits until the curves of that day are drawn.
_ZOOM = """(when) => new Promise((done) => {
  const box = document.querySelector("[data-plot=day]");
  const input = document.querySelector("[data-day-form] input[name=day]");
  box.on("plotly_afterplot", () => requestAnimationFrame(() => done(performance.now() - began)));
  input.value = when;
  const began = performance.now();
  input.dispatchEvent(new Event("change"));
})"""


def make_store(folder: Path) -> None:
    """Fill a data folder with one plant's ten years."""
    plant = replace(next(one for one in DEMO_SITES if one.slug == SLUG), step_s=300)
    files = demo_files(plant, last_day=date(2023, 12, 31))
    back = replace(
        back_end(folder),
        clock=FixedClock(datetime(2025, 1, 1, 6, tzinfo=UTC)),
    )
    try:
        _load(back, files.site_toml, files.log)
    finally:
        back.database.close()


def _load(back: BackEnd, site_toml: str, log: bytes) -> None:
    back.add_site(text=site_toml)
    head, _, rows = log.partition(b"\n")
    rows = rows[rows.index(b"\n2023-") + 1 :]
    for year in YEARS:
        back.hand_in(SLUG, head + b"\n" + rows.replace(b"2023-", b"%d-" % year), f"{year}.csv")
    worker = back.worker()
    worker.work_all()
    worker.stop()


class Measured:
    """One fresh browser context, its pages and what came over the wire."""

    def __init__(self, browser: Any, address: str) -> None:
        self.context = browser.new_context(
            base_url=address, viewport={"width": 1280, "height": 850}
        )
        self.page = self.context.new_page()
        self.wire: dict[str, float] = {}
        self._names: dict[str, str] = {}
        network = self.context.new_cdp_session(self.page)
        network.send("Network.enable")
        network.on("Network.responseReceived", self._named)
        network.on("Network.loadingFinished", self._ended)

    def _named(self, told: dict[str, Any]) -> None:
        self._names[told["requestId"]] = told["response"]["url"]

    def _ended(self, told: dict[str, Any]) -> None:
        url = self._names.get(told["requestId"], "?")
        self.wire[url] = self.wire.get(url, 0.0) + told["encodedDataLength"]

    def own_bytes(self) -> float:
        """Give the bytes of everything but the chart program."""
        return sum(size for url, size in self.wire.items() if "plotly" not in url)


def first_paint_ms(browser: Any, address: str, path: str) -> tuple[float, float, float]:
    """Open a page cold; gives first paint [ms], time to the answer's end [ms], bytes."""
    one = Measured(browser, address)
    one.page.goto(path, wait_until="load")
    one.page.wait_for_function(f"({_PAINT})() !== null")
    paint = one.page.evaluate(_PAINT)
    answered = one.page.evaluate("() => performance.getEntriesByType('navigation')[0].responseEnd")
    one.page.evaluate("() => document.getElementById('day').scrollIntoView()")
    for name in ("heat", "day"):
        one.page.wait_for_function(_DRAWN % name)
    size = one.own_bytes()
    one.context.close()
    return paint, answered, size


def zoom_ms(browser: Any, address: str) -> list[float]:
    """Open days of different years one after another; gives the time to each drawing [ms]."""
    one = Measured(browser, address)
    one.page.goto(f"/sites/{SLUG}#day", wait_until="load")
    one.page.wait_for_function(_DRAWN % "day")
    days = [f"{year}-0{month}-1{month}" for year in (2016, 2019, 2022) for month in (3, 6, 8)]
    taken = [one.page.evaluate(_ZOOM, day) for day in days]
    one.context.close()
    return taken


def measure(folder: Path) -> None:
    """Serve the folder and print what its pages cost."""
    from playwright.sync_api import sync_playwright

    # A report of long ago would be made anew beside the measuring.
    os.environ["SUNTALLY_REFRESH_HOURS"] = "876000"
    with served(folder) as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        pages = (("site", f"/sites/{SLUG}"), ("another year", _YEAR_PAGE))
        for name, path in pages:
            tries = [first_paint_ms(browser, address, path) for _ in range(TRIES)]
            paint, answered, size = ([row[column] for row in tries] for column in range(3))
            sys.stdout.write(
                f"{name}: first paint {_spread(paint)} ms (answer whole after {_spread(answered)}"
                f" ms), {max(size) / 1000:.0f} kB on the wire\n"
            )
        sys.stdout.write(f"zoom to a day: {_spread(zoom_ms(browser, address))} ms\n")
        browser.close()


def _spread(values: list[float]) -> str:
    return f"{statistics.median(values):.0f} (most {max(values):.0f})"


def main() -> None:
    """Make the store where there is none, and measure."""
    with tempfile.TemporaryDirectory() as passing:
        folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(passing)
        if not (folder / "data" / "suntally.db").exists():
            make_store(folder)
        measure(folder)


if __name__ == "__main__":
    main()
