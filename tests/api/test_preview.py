"""A log of an unknown controller: shown, put right, accepted; nothing is stored before."""

import html
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import func, select
from starlette.testclient import TestClient

from analysis.site import ColumnMeaning
from analysis.sitefile import parse_site
from fixtures.scenario import home
from fixtures.sensors import observe
from fixtures.simulate import simulate
from service.db.models import DayBlock, Site, Upload
from tests.build_service import LOCAL, BackEnd, back_ends, tidy_log

# Names that explain nothing, so that everything is asked.
HEADS = ("Q1", "Q2", "Q3", "Q4", "Q5", "Q6", "Q7", "Q8")
CHANNELS = (
    "collector", "loop_hot", "loop_cold", "store_bottom", "ambient", "irradiance_plane", "flow",
    "pump",
)  # fmt: skip


def foreign(first: datetime = datetime(2025, 6, 1, tzinfo=UTC), *, seed: int = 1) -> str:
    """Write an invented log with semicolons, decimal commas and days in points."""
    lines = [";".join(["Zeit", *HEADS])]
    for row in tidy_log(first=first, hours=48, seed=seed).splitlines()[1:]:
        time, *cells = row.split(",")
        stamp = datetime.fromisoformat(time)
        lines.append(";".join([f"{stamp:%d.%m.%Y %H:%M}", *(c.replace(".", ",") for c in cells)]))
    return "\n".join(lines)


@pytest.fixture
def back(tmp_path: Path) -> Iterator[BackEnd]:
    with back_ends(tmp_path) as make:
        yield make()


@pytest.fixture
def client(back: BackEnd) -> Iterator[TestClient]:
    with TestClient(back.app(), base_url=LOCAL, follow_redirects=False) as client:
        yield client


def hand_in(back: BackEnd, slug: str, text: str, name: str = "regler.csv") -> int:
    number = back.hand_in(slug, text, name)
    back.worker().work_all()
    return number


def states(back: BackEnd) -> list[str]:
    with back.database.reading() as db:
        return list(db.scalars(select(Upload.state).order_by(Upload.id)))


def blocks(back: BackEnd) -> int:
    with back.database.reading() as db:
        return db.scalar(select(func.count()).select_from(DayBlock))


def site_text(back: BackEnd, slug: str) -> str:
    with back.database.reading() as db:
        return db.get(Site, back.site_id(slug)).text


def answers(**more: str) -> dict[str, str]:
    given = {}
    for number, (head, channel) in enumerate(zip(HEADS, CHANNELS, strict=True)):
        given |= {f"key-{number}": head, f"channel-{number}": channel, f"unit-{number}": ""}
    return {**given, **more}


def test_nothing_is_stored_before_it_is_accepted_and_then_it_is_right(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    number = hand_in(back, slug, foreign())
    assert (states(back), blocks(back)) == (["asking"], 0)
    page = client.get(f"/sites/{slug}/logs/{number}")
    assert page.status_code == 200
    for words in (*HEADS, "288 rows", "Semicolon", "Accept"):
        assert words in page.text
    assert f'href="/sites/{slug}/logs/{number}"' in client.get(f"/sites/{slug}").text
    answer = client.post(f"/sites/{slug}/logs/{number}", data=answers(do="accept"))
    assert (answer.status_code, states(back)) == (303, ["kept"])
    back.worker().work_all()
    assert states(back) == ["stored"]
    late = client.get(f"/sites/{slug}/logs/{number}")  # an old tab must not say that nothing is
    assert (late.status_code, late.headers["location"]) == (303, f"/sites/{slug}/logs")
    wrong = answers(do="accept", **{"channel-1": "collector"})
    assert "both hold collector" in client.post(f"/sites/{slug}/logs/{number}", data=wrong).text
    told = dict(parse_site(site_text(back, slug)).log.columns)
    assert told["Q1"] == ColumnMeaning(channel="collector", unit=None)
    assert len(told) == 8
    series = client.get(f"/api/sites/{slug}/series?from=2025-06-01&to=2025-06-02").json()
    assert set(series["columns"]) == set(CHANNELS)


def test_one_answer_serves_every_file_that_waits_and_those_that_come(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    first = [
        hand_in(back, slug, foreign(datetime(2025, 6, day, tzinfo=UTC), seed=day), f"{day}.csv")
        for day in (1, 3, 5)
    ]
    assert states(back) == ["asking"] * 3
    assert "2 other files" in client.get(f"/sites/{slug}/logs/{first[0]}").text
    client.post(f"/sites/{slug}/logs/{first[0]}", data=answers(do="accept"))
    back.worker().work_all()
    hand_in(back, slug, foreign(datetime(2025, 6, 7, tzinfo=UTC), seed=7), "7.csv")
    assert states(back) == ["stored"] * 4


def test_column_numbers_of_a_bare_file_leave_logs_with_heads_alone(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    hand_in(back, slug, tidy_log(first=datetime(2025, 5, 1, tzinfo=UTC), hours=48), "tidy.csv")
    foreign_number = hand_in(back, slug, foreign(datetime(2025, 6, 1, tzinfo=UTC)), "heads.csv")
    bare = [
        foreign(datetime(2025, 4, day, tzinfo=UTC), seed=day).split("\n", 1)[1] for day in (1, 3)
    ]
    number = hand_in(back, slug, bare[0], "bare.csv")
    assert states(back) == ["stored", "asking", "asking"]
    # One column further on than in the tidy log, so that a number means something else there.
    given = {f"key-{place}": str(place + 2) for place in range(len(CHANNELS))}
    accepted = client.post(f"/sites/{slug}/logs/{number}", data={**answers(do="accept"), **given})
    assert accepted.status_code == 303, accepted.text
    back.worker().work_all()
    assert states(back) == ["stored", "asking", "stored"]
    assert "column 2" in dict(parse_site(site_text(back, slug)).log.columns)
    hand_in(back, slug, bare[1], "bare2.csv")
    assert states(back)[-1] == "stored"
    page = client.get(f"/sites/{slug}/logs/{foreign_number}")
    assert page.status_code == 200
    assert "Q1 holds" in page.text
    # Another answer for the same column takes the place of the first.
    again = {**answers(do="accept"), **given, "channel-3": "store_middle"}
    assert client.post(f"/sites/{slug}/logs/{number}", data=again).status_code == 303
    told = dict(parse_site(site_text(back, slug)).log.columns)
    assert told["column 5"].channel == "store_middle"
    assert not any(head.isdigit() for head in told)


def test_the_plot_follows_an_answer_without_storing_it(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    number = hand_in(back, slug, foreign())
    one = {"key-0": "Q1", "channel-0": "collector", "unit-0": "", "do": "plot"}
    told = client.post(f"/sites/{slug}/logs/{number}", data=one).json()
    assert [trace["name"] for trace in told["figure"]["data"]] == ["collector"]
    assert [trace["name"] for trace in told["left"]["data"]] == list(HEADS[1:])
    assert told["columns"]["0"]["sure"] == "your choice"
    celsius = told["figure"]["data"][0]["y"]
    one["unit-0"] = "f"
    told = client.post(f"/sites/{slug}/logs/{number}", data=one).json()
    for f_value, c_value in zip(told["figure"]["data"][0]["y"], celsius, strict=True):
        assert f_value == pytest.approx((c_value - 32) / 1.8, abs=0.02)
    assert (states(back), blocks(back)) == (["asking"], 0)
    assert "[log]" not in site_text(back, slug)


def test_without_a_unit_the_one_that_the_head_prints_counts(
    back: BackEnd, client: TestClient
) -> None:
    """Litres an hour taken for litres a minute would be sixty times the heat."""
    slug = back.add_site()
    number = hand_in(back, slug, foreign().replace("Q7", "Q7 [l/h]").replace("Q8", "Q8 [bar]"))
    page = client.get(f"/sites/{slug}/logs/{number}").text
    assert 'name="printed-6" value="l/h"' in page
    said = answers(do="accept") | {
        "key-6": "Q7 [l/h]", "printed-6": "l/h", "key-7": "Q8 [bar]", "printed-7": "bar",
    }  # fmt: skip
    assert client.post(f"/sites/{slug}/logs/{number}", data=said).status_code == 303
    told = dict(parse_site(site_text(back, slug)).log.columns)
    assert told["Q7 [l/h]"] == ColumnMeaning(channel="flow", unit="l/h")
    # A pump is not measured in bar: what does not fit is left to the usual unit.
    assert told["Q8 [bar]"] == ColumnMeaning(channel="pump", unit=None)


def test_an_undone_file_gets_other_columns_and_counts_again(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    number = hand_in(back, slug, foreign())
    path = f"/sites/{slug}/logs/{number}"
    wrong = answers(do="accept") | {"channel-1": CHANNELS[2], "channel-2": CHANNELS[1]}
    client.post(path, data=wrong)
    back.worker().work_all()
    client.post(f"{path}/undo")
    assert f'href="{path}"' in client.get(f"/sites/{slug}/logs").text
    assert "Leave it as it is" in client.get(path).text
    assert client.post(path, data=answers(do="accept")).status_code == 303
    back.worker().work_all()
    assert states(back) == ["stored"]
    told = dict(parse_site(site_text(back, slug)).log.columns)
    assert [told[head].channel for head in ("Q2", "Q3")] == [CHANNELS[1], CHANNELS[2]]


def test_an_answer_that_cannot_be_is_said_and_nothing_changes(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    number = hand_in(back, slug, foreign())
    for wrong, words in (
        ({"channel-1": "collector"}, "both hold collector"),
        ({"unit-0": "l/min"}, "unit"),
        ({f"channel-{n}": "" for n in range(8)}, "No column has a meaning"),
    ):
        answer = client.post(f"/sites/{slug}/logs/{number}", data=answers(do="accept", **wrong))
        assert answer.status_code == 422
        assert words in answer.text
    assert states(back) == ["asking"]
    assert "[log]" not in site_text(back, slug)


def test_dates_that_can_be_read_in_two_ways_are_a_plain_choice(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    rows = [f"03/04/2025 {hour:02}:00,{20 + hour}" for hour in range(24)]
    number = hand_in(back, slug, "\n".join(["time,t_collector_c", *rows]))
    assert states(back) == ["asking"]
    page = client.get(f"/sites/{slug}/logs/{number}")
    assert 'type="radio" name="date_order" value="month_first"' in page.text
    data = {"date_order": "month_first"}
    shown = client.post(f"/sites/{slug}/logs/{number}", data={**data, "do": "show"})
    assert "4 March 2025" in shown.text
    assert client.post(f"/sites/{slug}/logs/{number}", data={**data, "do": "accept"}).is_redirect
    back.worker().work_all()
    assert states(back) == ["stored"]
    assert parse_site(site_text(back, slug)).log.date_order == "month_first"


def test_a_map_of_another_site_can_be_tried_and_taken(back: BackEnd, client: TestClient) -> None:
    mill, farm = back.add_site("Mill Lane 4"), back.add_site("Farm Road 9")
    number = hand_in(back, mill, foreign())
    client.post(f"/sites/{mill}/logs/{number}", data=answers(do="accept"))
    back.worker().work_all()
    other = hand_in(back, farm, foreign(seed=2), "farm.csv")
    assert "Mill Lane 4" in client.get(f"/sites/{farm}/logs/{other}").text
    page = client.get(f"/sites/{farm}/logs/{other}", params={"map_of": mill})
    assert page.text.count("your choice") == 8
    answer = client.post(f"/sites/{farm}/logs/{other}", data=answers(do="accept", map_of=mill))
    assert answer.status_code == 303
    back.worker().work_all()
    assert states(back) == ["stored", "stored"]
    assert parse_site(site_text(back, farm)).log == parse_site(site_text(back, mill)).log


def test_cancelling_forgets_the_file_and_its_bytes(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    number = hand_in(back, slug, foreign())
    assert client.post(f"/sites/{slug}/logs/{number}/discard").status_code == 303
    assert states(back) == []
    kept = [p for p in (back.settings.data_dir / "uploads").rglob("*") if p.is_file()]
    assert kept == []


def test_what_waits_too_long_is_forgotten(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    hand_in(back, slug, foreign())
    hand_in(back, slug, tidy_log(hours=24), "tidy.csv")
    worker = back.worker()
    back.clock.move(days=back.settings.preview_days - 1)
    worker.tidy()
    assert states(back) == ["asking", "stored"]
    back.clock.move(days=2)
    worker.tidy()
    assert states(back) == ["stored"]


def test_what_comes_again_waits_from_then_on(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    number = hand_in(back, slug, foreign())
    back.clock.move(days=back.settings.preview_days - 1)
    assert hand_in(back, slug, foreign()) == number
    back.clock.move(days=2)
    back.worker().tidy()
    assert states(back) == ["asking"]


def test_strangers_files_are_not_shown(back: BackEnd, client: TestClient) -> None:
    slug, other = back.add_site(), back.add_site("Other")
    number = hand_in(back, slug, foreign())
    for path in (f"/sites/{other}/logs/{number}", f"/sites/{other}/logs/{number}/discard"):
        assert client.post(path, data=answers(do="accept")).status_code == 404
    assert client.get(f"/sites/{other}/logs/{number}").status_code == 404
    assert states(back) == ["asking"]


def test_a_drop_of_many_has_one_summary(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    numbers = [
        back.hand_in(slug, tidy_log(first=datetime(2025, 6, day, tzinfo=UTC), hours=24, seed=day))
        for day in range(1, 6)
    ]
    numbers += [back.hand_in(slug, foreign(), "f.csv"), back.hand_in(slug, b"", "empty.csv")]
    other = back.add_site("Other")
    numbers.append(back.hand_in(other, tidy_log(hours=24, seed=50)))
    back.worker().work_all()
    ids = ",".join(map(str, numbers))
    told = client.get(f"/api/sites/{slug}/uploads/summary?ids={ids}").json()
    assert told["states"] == {"stored": 5, "asking": 1, "refused": 1}
    assert told["rows_kept"] == 5 * 144
    assert [one["name"] for one in told["wanting"]] == ["f.csv", "empty.csv"]
    assert client.get(f"/api/sites/{slug}/uploads/summary?ids=1;drop").status_code == 422


def test_the_files_page_lists_every_file_with_its_checksum(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    hand_in(back, slug, tidy_log(hours=48), "first.csv")
    hand_in(back, slug, tidy_log(hours=24, seed=3), "corrected.csv")
    text = client.get(f"/sites/{slug}/logs").text
    with back.database.reading() as db:
        for sha256 in db.scalars(select(Upload.sha256)):
            assert sha256 in text
    assert "replaced in part" in text
    assert "144 rows of it are replaced by corrected.csv" in text
    undo = f"/sites/{slug}/logs/2/undo"
    assert f'action="{undo}"' in text
    assert client.post(undo).status_code == 303
    assert states(back) == ["stored", "undone"]
    assert client.post(f"/sites/{slug}/logs/2/redo").status_code == 303
    back.worker().work_all()
    assert states(back) == ["stored", "stored"]


def given(**more: object) -> dict[str, object]:
    """Give the same map as JSON."""
    columns = {head: {"channel": one} for head, one in zip(HEADS, CHANNELS, strict=True)}
    return {"columns": columns, **more}


def test_a_map_as_json_answers_a_log_that_waits(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    number = hand_in(back, slug, foreign())
    where = f"/api/sites/{slug}/uploads/{number}/map"
    answer = client.post(where, json=given(timezone="UTC"))
    assert (answer.status_code, answer.json()["state"]) == (202, "kept")
    back.worker().work_all()
    assert states(back) == ["stored"]
    log = parse_site(site_text(back, slug)).log
    assert (log.timezone, len(log.columns)) == ("UTC", 8)
    # It waits no longer.
    again = client.post(where, json=given())
    assert (again.status_code, again.json()["detail"]) == (409, "This file waits for no answer.")


def test_a_map_as_json_that_cannot_be_is_said_and_nothing_changes(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    number = hand_in(back, slug, foreign())
    for wrong, words in (
        ({"columns": {"Q1": {"channel": "colector"}}}, "did you mean"),
        ({"columns": {"Q1": {"channel": "collector", "unit": "l/min"}}}, "unit"),
        ({"columns": {"Q1": {"channel": "flow"}, "Q2": {"channel": "flow"}}}, "both hold flow"),
        ({"columns": {}}, "No column has a meaning"),
        ({"columns": {"Q1": {"channel": "flow"}}, "time_format": "%H"}, "gives"),
        ({"colums": {}}, "colums"),
    ):
        answer = client.post(f"/api/sites/{slug}/uploads/{number}/map", json=wrong)
        assert answer.status_code == 422
        assert words in answer.text
    assert states(back) == ["asking"]
    assert "[log]" not in site_text(back, slug)


def test_the_description_shows_a_map_that_can_be_sent(back: BackEnd, client: TestClient) -> None:
    paths = client.get("/openapi.json").json()["paths"]
    told = paths["/api/sites/{slug}/uploads/{upload_id}/map"]["post"]
    (example,) = told["requestBody"]["content"]["application/json"]["examples"].values()
    slug = back.add_site()
    heads = ";".join(["Zeit", *example["value"]["columns"]])
    rows = [
        f"01.06.2025 {n // 6:02}:{n % 6}0;{20 + n},5;{30 + n % 7},25;{n % 2}" for n in range(144)
    ]
    number = hand_in(back, slug, "\n".join([heads, *rows]))
    answer = client.post(f"/api/sites/{slug}/uploads/{number}/map", json=example["value"])
    assert answer.status_code == 202, answer.text
    back.worker().work_all()
    assert states(back) == ["stored"]


def test_two_loggers_of_a_site_share_a_map(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    first = hand_in(back, slug, foreign())
    client.post(f"/api/sites/{slug}/uploads/{first}/map", json=given())
    other = foreign(datetime(2025, 6, 4, tzinfo=UTC), seed=5).replace("Q", "Z")
    second = hand_in(back, slug, other, "other.csv")
    both = {
        "columns": {
            head.replace("Q", "Z"): {"channel": one}
            for head, one in zip(HEADS, CHANNELS, strict=True)
        }
    }
    assert states(back) == ["stored", "asking"]
    answer = client.post(f"/api/sites/{slug}/uploads/{second}/map", json=both)
    assert answer.status_code == 202, answer.text
    back.worker().work_all()
    third = foreign(datetime(2025, 6, 8, tzinfo=UTC), seed=6)
    hand_in(back, slug, third, "third.csv")
    assert states(back) == ["stored", "stored", "stored"]
    assert len(parse_site(site_text(back, slug)).log.columns) == 16


def test_what_is_open_counts_down_as_somebody_decides(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    number = hand_in(back, slug, foreign())
    where = f"/sites/{slug}/logs/{number}"
    said = {f"key-{place}": head for place, head in enumerate(HEADS)} | {"do": "plot"}
    told = client.post(where, data=said).json()
    open_ones = [int(one) for one, column in told["columns"].items() if column["mood"] == "asked"]
    assert len(open_ones) > 2
    assert f"Of 8 columns {len(open_ones)} are open" in client.get(where).text
    for place, left in zip(open_ones, range(len(open_ones) - 1, -1, -1), strict=True):
        said[f"channel-{place}"] = CHANNELS[place] if place % 2 else "-"
        told = client.post(where, data=said).json()
        column = told["columns"][str(place)]
        assert (column["sure"], column["mood"]) == ("your choice", "told" if place % 2 else "left")
        if left > 1:
            assert told["open"].startswith(f"Of 8 columns {left} are open")
        elif left == 1:
            one = "Of 8 columns 1 is open: choose what it holds, or leave it out."
            assert told["open"] == one
    assert told["open"] == "Nothing here is open; look whether it is right."


def wrong_clock(back: BackEnd, slug: str, off_min: int) -> str:
    """Write an invented log of two columns whose clock, on UTC, is ahead by so much."""
    place = parse_site(site_text(back, slug)).place
    plant = home(latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg)
    run = simulate(plant, seed=8, start="2025-05-10", days=8)
    log = observe(run, seed=2, channels=("irradiance_plane", "collector"), step_s=900)
    lines = ["Zeit;Q1;Q2"]
    columns = [log.columns[name].tolist() for name in ("irradiance_plane", "collector")]
    for stamp_s, *cells in zip(log.stamp_s.tolist(), *columns, strict=True):
        stamp = datetime.fromtimestamp(stamp_s + 60 * off_min, UTC)
        lines.append(";".join([f"{stamp:%d.%m.%Y %H:%M}", *(f"{cell:.1f}" for cell in cells)]))
    return "\n".join(lines)


def test_a_clock_that_does_not_fit_the_sun_is_asked_and_put_right_when_accepted(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    number = hand_in(back, slug, wrong_clock(back, slug, 75))
    here = f"/sites/{slug}/logs/{number}"
    said = {"key-0": "Q1", "channel-0": "irradiance_plane", "unit-0": "W/m2",
            "key-1": "Q2", "channel-1": "collector", "unit-1": "C", "timezone": "UTC"}  # fmt: skip
    page = client.post(here, data=said).text
    assert "clock right?" in page
    assert "minutes ahead of the sun" in html.unescape(page)
    (lines,) = set(re.findall(r'value="(clock_offset_min = \d+)"', page))
    # Chosen, it is asked on, and marked.
    chosen = client.post(here, data={**said, "clock": lines}).text
    assert f'value="{lines}" checked' in chosen
    assert "clock_offset" not in site_text(back, slug)
    assert client.post(here, data={**said, "clock": lines, "do": "accept"}).status_code == 303
    told = parse_site(site_text(back, slug)).log
    assert told.clock_offset_min == float(lines.split(" = ")[1])
    assert abs(told.clock_offset_min - 75.0) < 12.0
    back.worker().work_all()
    assert states(back) == ["stored"]


def test_an_unanswered_clock_keeps_nothing_waiting(back: BackEnd, client: TestClient) -> None:
    slug = back.add_site()
    number = hand_in(back, slug, wrong_clock(back, slug, 75))
    said = {"key-0": "Q1", "channel-0": "irradiance_plane", "unit-0": "W/m2",
            "timezone": "UTC", "clock": "", "do": "accept"}  # fmt: skip
    assert client.post(f"/sites/{slug}/logs/{number}", data=said).status_code == 303
    assert parse_site(site_text(back, slug)).log.clock_offset_min is None
    back.worker().work_all()
    assert states(back) == ["stored"]


@pytest.mark.parametrize("off_min", [360, -540, 715])
def test_a_clock_many_hours_off_is_asked_with_keys_and_never_refused(
    back: BackEnd, client: TestClient, off_min: int
) -> None:
    slug = back.add_site()
    text = wrong_clock(back, slug, off_min).replace("Zeit;Q1;Q2", "time;g_plane_w_m2;t_collector_c")
    number = hand_in(back, slug, text)
    assert (states(back), blocks(back)) == (["asking"], 0)
    here = f"/sites/{slug}/logs/{number}"
    page = client.post(here, data={"timezone": "UTC"}).text
    offered = re.findall(r'value="(clock_offset_min = (-?\d+))"', page)
    (lines, minutes), *_ = offered
    away = (float(minutes) - off_min + 720.0) % 1440.0 - 720.0
    assert abs(away) < 15.0
    assert (
        client.post(here, data={"timezone": "UTC", "clock": lines, "do": "accept"}).status_code
        == 303
    )
    back.worker().work_all()
    assert states(back) == ["stored"]


def plain(first: datetime, *, fahrenheit: bool, seed: int) -> str:
    """Write a log in plain words, whose temperatures tell their unit by their size alone."""
    heads = "time,Collector,Solar flow temp,Solar return temp,Tank bottom,Flow l/min,Pump %"
    lines = [heads]
    for row in tidy_log(first=first, hours=96, seed=seed).splitlines()[1:]:
        time, *cells = row.split(",")
        degrees = [f"{float(c) * 1.8 + 32.0:.1f}" if fahrenheit else c for c in cells[:4]]
        lines.append(",".join([time[:19], *degrees, cells[-2], cells[-1]]))
    return "\n".join(lines)


def accept_as_shown(client: TestClient, slug: str, number: int) -> int:
    """Accept a file's page as it stands, as a browser would; gives the status."""
    shown = client.get(f"/sites/{slug}/logs/{number}").text
    given = dict(re.findall(r'name="((?:key|given|printed)-\d+)" value="([^"]*)"', shown))
    for name, options in re.findall(
        r'<select id="[^"]*" name="((?:channel|unit)-\d+)"[^>]*>(.*?)</select>', shown, re.S
    ):
        chosen = re.search(r'<option value="([^"]*)" selected', options)
        given[name] = chosen[1] if chosen else ""
    given = {name: html.unescape(value) for name, value in given.items()}
    return client.post(f"/sites/{slug}/logs/{number}", data={**given, "do": "accept"}).status_code


def test_a_map_does_not_overrule_another_waiting_file_unseen(
    back: BackEnd, client: TestClient
) -> None:
    slug = back.add_site()
    days = [(1, False), (6, True), (11, False)]
    first, other, _ = [
        hand_in(
            back,
            slug,
            plain(datetime(2025, 6, day, tzinfo=UTC), fahrenheit=fahrenheit, seed=day),
            f"{day}.csv",
        )
        for day, fahrenheit in days
    ]
    assert states(back) == ["asking"] * 3
    assert accept_as_shown(client, slug, first) == 303
    back.worker().work_all()
    assert states(back) == ["stored", "asking", "stored"]
    # A file that comes when the map is there already is held against it as well.
    late = plain(datetime(2025, 6, 16, tzinfo=UTC), fahrenheit=True, seed=16)
    hand_in(back, slug, late, "late.csv")
    assert states(back)[-1] == "asking"
    shown = html.unescape(client.get(f"/sites/{slug}/logs/{other}").text)
    assert "this file's own values look like" in shown
    # Whoever saw that and accepts the page all the same is believed.
    assert accept_as_shown(client, slug, other) == 303
    back.worker().work_all()
    assert states(back) == ["stored"] * 4
    despite = dict(parse_site(site_text(back, slug)).log.columns)["Collector"].despite
    assert despite == ("collector in F",)
