"""`suntally report` from the outside: status, standard output, standard error, files.

All logs are invented (tests/build_service.py).
"""

import argparse
import gzip
import json
import zipfile
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser
from math import sin

import pytest

from service.report_command import add_arguments, run
from tests.build_service import site_file, sun_height, tidy_log

LOG = tidy_log(hours=120)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "site.toml").write_text(site_file("Mill <Lane> 4"), encoding="utf-8")
    (tmp_path / "log.csv").write_text(LOG, encoding="utf-8")
    return tmp_path


def command(folder, *words: str) -> int:
    parser = argparse.ArgumentParser()
    add_arguments(parser)
    names = [str(folder / word) if (folder / word).exists() else word for word in words]
    return run(parser.parse_args(names))


def machine_report(folder, capsys, *words: str) -> dict:
    status = command(folder, "site.toml", *words, "--json", "-")
    out, err = capsys.readouterr()
    assert status in (0, 1), err
    return json.loads(out)


def test_a_sound_log_gives_a_readable_report_and_status_0(folder, capsys):
    assert command(folder, "site.toml", "log.csv") == 0
    out, err = capsys.readouterr()
    assert err == ""
    for words in ("Mill <Lane> 4", "Delivered", "Expected", "Coverage", "ROWS", "720 kept"):
        assert words in out
    assert max(len(line) for line in out.splitlines()) <= 80


def test_json_to_standard_output_stands_there_alone(folder, capsys):
    report = machine_report(folder, capsys, "log.csv")
    assert report["schema"] == 1
    assert report["site"] == "Mill <Lane> 4"
    assert report["rows"] == {"read": 720, "kept": 720, "duplicate": 0, "rejected": 0}
    assert {"basis", "days", "months", "totals", "findings", "condition", "savings"} <= set(report)
    assert report["from"] == "2025-06-01T00:00:00Z"
    assert report["to"] == "2025-06-06T00:00:00Z"


def test_a_bad_line_gives_status_1_and_is_named(folder, capsys):
    lines = LOG.splitlines()
    lines.insert(100, "oops" + "," * 8)
    (folder / "dirty.csv").write_text("\n".join(lines), encoding="utf-8")
    assert command(folder, "site.toml", "dirty.csv", "--json", str(folder / "out.json")) == 1
    assert "dirty.csv, line 101" in capsys.readouterr().out
    report = json.loads((folder / "out.json").read_text(encoding="utf-8"))
    assert report["rows"]["rejected"] == 1
    assert report["rejected"][0]["line"] == 101


def _broken(name: str):
    def made(folder) -> list[str]:
        files = {
            "empty": ("empty.csv", b""),
            "binary": ("noise.csv", bytes(range(256)) * 20),
            "columns": ("other.csv", b"time,apples\n2025-06-01T10:00:00Z,1\n"),
            "archive": ("cut.csv.gz", gzip.compress(LOG.encode())[:500]),
            "future": ("late.csv", LOG.replace("2025-", "2095-").encode()),
        }
        file, data = files[name]
        (folder / file).write_bytes(data)
        return ["site.toml", file]

    return made


def _bad_site(old: str, new: str):
    def made(folder) -> list[str]:
        text = site_file().replace(old, new)
        (folder / "bad.toml").write_text(text, encoding="utf-8")
        return ["bad.toml", "log.csv"]

    return made


CASES = {
    "an empty file": (_broken("empty"), "empty.csv"),
    "binary rubbish": (_broken("binary"), "noise.csv"),
    "no known column": (_broken("columns"), "other.csv"),
    "a cut archive": (_broken("archive"), "cut.csv.gz"),
    "a log from the future": (_broken("future"), "clock"),
    "an impossible tilt": (_bad_site("tilt_deg = 45", "tilt_deg = 145"), "tilt_deg"),
    "an unknown key": (_bad_site("pump_w", "pump_watt"), "pump_w"),
    "broken TOML": (_bad_site("[loop]", "[loop"), "bad.toml, line"),
    "another place's sun": (
        _bad_site("longitude = 11.0", "longitude = -150.0"),
        "the sun in this log",
    ),
    "no such log": (lambda _: ["site.toml", "nothing.csv"], "nothing.csv"),
    "no such site file": (lambda _: ["nothing.toml", "log.csv"], "nothing.toml"),
    "a folder as log": (lambda folder: ["site.toml", str(folder)], "is a folder"),
    "a date that is none": (lambda _: ["site.toml", "log.csv", "--from", "June"], "--from"),
    "days in the wrong order": (
        lambda _: ["site.toml", "log.csv", "--from", "2025-06-03", "--to", "2025-06-02"],
        "exchange",
    ),
    "days without data": (
        lambda _: ["site.toml", "log.csv", "--from", "2024-01-01", "--to", "2024-02-01"],
        "1 to 6 June 2025",
    ),
    "an output over an input": (
        lambda _: ["site.toml", "log.csv", "--json", "log.csv"],
        "in use already",
    ),
    "an output in no folder": (
        lambda _: ["site.toml", "log.csv", "--html", "/no/such/page.html"],
        "no such folder",
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_what_cannot_be_used_gives_status_2_and_one_plain_message(folder, capsys, name):
    make, told = CASES[name]
    words = make(folder)
    before = {path: path.read_bytes() for path in folder.iterdir()}
    assert command(folder, *words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("suntally report: ")
    assert err.count("\n") == 1
    assert told in err
    assert "Traceback" not in err
    assert {path: path.read_bytes() for path in folder.iterdir()} == before


def test_a_defect_is_owned_up_to_without_a_traceback(folder, capsys, monkeypatch):
    def broken(**_):
        raise RuntimeError("ouch")

    monkeypatch.setattr("analysis.assess.assess", broken)
    assert command(folder, "site.toml", "log.csv", "--json", str(folder / "out.json")) == 2
    err = capsys.readouterr().err
    assert "defect" in err
    assert "ouch" in err
    assert err.count("\n") == 1
    assert not (folder / "out.json").exists()


def test_chosen_days_are_local_and_included_and_have_the_same_figures(folder, capsys):
    whole = machine_report(folder, capsys, "log.csv")
    part = machine_report(folder, capsys, "log.csv", "--from", "2025-06-02", "--to", "2025-06-03")
    assert [day["date"] for day in part["days"]] == ["2025-06-02", "2025-06-03"]
    assert part["days"] == [day for day in whole["days"] if "02" <= day["date"][-2:] <= "03"]
    # Days of Europe/Berlin in summer begin at 22:00 UTC.
    assert part["from"] == "2025-06-01T22:00:00Z"
    assert part["to"] == "2025-06-03T22:00:00Z"


def test_packed_split_and_shuffled_files_give_the_report_of_the_whole_log(folder, capsys):
    whole = machine_report(folder, capsys, "log.csv")
    head, *rows = LOG.splitlines()
    with zipfile.ZipFile(folder / "b.zip", "w") as archive:
        archive.writestr("second.csv", "\n".join([head, *rows[300:]]))
    (folder / "a.csv.gz").write_bytes(gzip.compress("\n".join([head, *rows[:350]]).encode()))
    split = machine_report(folder, capsys, "b.zip", "a.csv.gz")
    assert split["rows"] == {"read": 770, "kept": 720, "duplicate": 50, "rejected": 0}
    assert {**split, "rows": None} == {**whole, "rows": None}


class Fetched(HTMLParser):
    """Collects what a page's own elements would fetch, and the text between them."""

    def __init__(self) -> None:
        super().__init__()
        self.addresses: list[str] = []
        self.headings: list[str] = []
        self._open = ""

    def handle_starttag(self, tag, attrs):
        self._open = tag
        fetched = {"script": "src", "link": "href", "img": "src", "iframe": "src"}.get(tag)
        self.addresses += [value for name, value in attrs if name == fetched and value]

    def handle_data(self, data):
        if self._open == "h1":
            self.headings.append(data.strip())


def test_the_page_is_self_contained_and_escapes_names(folder, capsys):
    page = folder / "page.html"
    assert command(folder, "site.toml", "log.csv", "--html", str(page)) == 0
    parser = Fetched()
    parser.feed(page.read_text(encoding="utf-8"))
    assert [address for address in parser.addresses if not address.startswith("data:")] == []
    assert "Mill <Lane> 4" in parser.headings


def test_the_map_of_a_controller_is_used(folder, capsys):
    renamed = LOG.replace("t_collector_c", "Roof").replace("time,", "when,", 1)
    (folder / "dialect.csv").write_text(renamed, encoding="utf-8")
    (folder / "map.toml").write_text(
        '[log.columns]\n"Roof" = { channel = "collector", unit = "C" }\n'
        '"when" = { channel = "time" }\n'
        + "".join(
            f'"{head}" = {{ channel = "{name}" }}\n'
            for head, name in (
                ("t_loop_hot_c", "loop_hot"),
                ("t_loop_cold_c", "loop_cold"),
                ("t_store_bottom_c", "store_bottom"),
                ("t_ambient_c", "ambient"),
                ("g_plane_w_m2", "irradiance_plane"),
                ("flow_l_min", "flow"),
                ("pump_percent", "pump"),
            )
        ),
        encoding="utf-8",
    )
    mapped = machine_report(folder, capsys, "dialect.csv", "--map", "map.toml")
    assert mapped["days"] == machine_report(folder, capsys, "log.csv")["days"]


def hourly_weather(first: datetime, hours: int) -> str:
    """Give hourly means of the log's own sun on a level plane, invented."""
    rows = ["time,ghi,temperature,wind"]
    for number in range(hours):
        hour = first + timedelta(hours=number)
        level = max(0.0, 800.0 * sin(sun_height(hour + timedelta(minutes=30))))
        rows.append(f"{hour:%Y-%m-%dT%H:%M:%SZ},{level:.1f},18,2")
    return "\n".join(rows)


def test_weather_of_the_same_days_gives_expected_heat_where_no_sun_was_logged(folder, capsys):
    blind = tidy_log(hours=120, without=frozenset({"g_plane_w_m2"}))
    (folder / "blind.csv").write_text(blind, encoding="utf-8")
    alone = machine_report(folder, capsys, "blind.csv")
    assert alone["basis"]["weather"] is None
    assert alone["totals"]["expected_kwh"] is None
    first = datetime(2025, 5, 31, tzinfo=UTC)
    (folder / "weather.csv").write_text(hourly_weather(first, 200), encoding="utf-8")
    told = machine_report(folder, capsys, "blind.csv", "--weather", "weather.csv")
    assert told["basis"]["weather"] == "weather_file"
    assert told["totals"]["expected_kwh"] > 5.0
    assert told["totals"]["delivered_kwh"] == alone["totals"]["delivered_kwh"]


def test_the_model_of_the_sky_is_the_site_files_and_is_said(folder, capsys):
    blind = tidy_log(hours=72, without=frozenset({"g_plane_w_m2"}))
    (folder / "blind.csv").write_text(blind, encoding="utf-8")
    first = datetime(2025, 5, 31, tzinfo=UTC)
    (folder / "weather.csv").write_text(hourly_weather(first, 150), encoding="utf-8")
    usual = machine_report(folder, capsys, "blind.csv", "--weather", "weather.csv")
    facts = (folder / "site.toml").read_text(encoding="utf-8")
    (folder / "site.toml").write_text(facts + '\n[sun]\nmodel = "isotropic"\n', encoding="utf-8")
    even = machine_report(folder, capsys, "blind.csv", "--weather", "weather.csv")
    sums = [one["months"][0]["irradiation_kwh_m2"] for one in (usual, even)]
    # High summer sun: the models are near each other, but never the same.
    assert 0.0005 < abs(sums[1] / sums[0] - 1.0) < 0.05
    said = [any("sky model" in note for note in one["basis"]["notes"]) for one in (usual, even)]
    assert said == [False, True]


def test_weather_of_other_days_is_refused(folder, capsys):
    first = datetime(2024, 6, 1, tzinfo=UTC)
    (folder / "weather.csv").write_text(hourly_weather(first, 48), encoding="utf-8")
    assert command(folder, "site.toml", "log.csv", "--weather", "weather.csv") == 2
    err = capsys.readouterr().err
    assert "1 to 3 June 2024" in err
    assert "1 to 6 June 2025" in err
