"""Many files dropped at once, and the plot that follows an answer, in a real browser."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.browser.build_served import Opener
from tests.build_service import site_file, tidy_log

CHANGED_FOUR_TIMES = """() => [1, 2, 3, 4].forEach(() =>
  document.querySelector("#channel-0").dispatchEvent(new Event("change", { bubbles: true })))"""


def foreign(number: int) -> str:
    """Write an invented log whose heads explain nothing."""
    first = datetime(2025, 3, 1, tzinfo=UTC) + timedelta(days=number)
    log = tidy_log(first=first, hours=24, seed=number)
    heads = ",".join(["time", *(f"Q{place}" for place in range(1, 9))])
    return "\n".join([heads, *log.splitlines()[1:]])


def test_a_drop_of_many_is_summed_up_answered_once_and_stored(
    open_page: Opener,
    tmp_path: Path,
) -> None:
    names = []
    for number in range(5):
        path = tmp_path / f"day-{number}.csv"
        path.write_text(foreign(number), encoding="utf-8")
        names.append(str(path))
    page = open_page("/", width=390)
    assert page.request.post("/api/sites", data=site_file("Elm Row 2")).status == 201
    page.goto("/sites/elm-row-2")
    page.set_input_files("#files", names)
    page.get_by_role("button", name="Hand in").click()
    says = page.locator("[data-batch-says]")
    says.filter(has_text="5 waiting for your answer").wait_for(timeout=60_000)
    assert "5 files" in says.inner_text()
    page.get_by_role("link", name="Look and answer").first.click()
    assert "4 other files" in page.locator(".lead").inner_text()
    with page.expect_response(lambda answer: "/logs/" in answer.url):
        page.select_option("#channel-0", "collector")
    page.locator("[data-plot=preview]").scroll_into_view_if_needed()
    page.wait_for_selector("[data-plot=preview] svg.main-svg", timeout=60_000)
    assert (
        page.evaluate("document.querySelector('[data-plot=preview]').data[0].name") == "collector"
    )
    # A unit of another family cannot be chosen.
    families = page.locator("#unit-0 optgroup:not([disabled])")
    assert families.evaluate_all("all => all.map(one => one.label)") == ["temperature"]
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    # Each answer reads the whole log: of four quick changes the first and the last are asked.
    asked: list[str] = []
    page.on("request", lambda one: asked.append(one.method))
    with (
        page.expect_response(lambda answer: "/logs/" in answer.url),
        page.expect_event("requestfinished", lambda _: asked.count("POST") > 1),
    ):
        page.evaluate(CHANGED_FOUR_TIMES)
    assert asked.count("POST") == 2
    page.get_by_role("button", name="Accept").click()
    page.locator("text=The map is saved").wait_for()
