"""The command line of the contract from the outside: statuses, messages, files.

All logs are invented.
"""

import gzip
import io
import os
import stat
import subprocess
import sys
import threading
import zipfile
from pathlib import Path

import pytest

from tests.build_command import LOOP, Desk, a_log, full_site

LOG = a_log("2025-05-31T23:00", 2 * 144)


@pytest.fixture
def desk(tmp_path, capsys):
    made = Desk(tmp_path, capsys)
    made.put("site.toml", full_site())
    made.put("log.csv", LOG)
    return made


def path(desk, name: str) -> str:
    return str(desk.folder / name)


def run(desk, *words: str):
    return desk.run(path(desk, "site.toml"), path(desk, "log.csv"), *words)


@pytest.mark.parametrize(
    "words", [(), ("site.toml",), ("site.toml", "log.csv", "--bogus"), ("a", "b", "--json")]
)
def test_a_command_that_is_not_understood_gets_one_line(desk, words):
    found = desk.run(*words)
    assert found.status == 2
    assert found.out == ""
    assert found.err.count("\n") == 1
    assert "--help" in found.err


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31", "1969-07-20"])
def test_days_beyond_any_log_are_no_error_where_the_log_lies_inside(desk, day):
    option = "--to" if day.startswith("9") else "--from"
    whole, asked = run(desk, "--json", "-"), run(desk, option, day, "--json", "-")
    assert (asked.status, asked.err) == (0, "")
    assert asked.report == whole.report


def test_days_after_any_log_are_told_from_those_the_log_covers(desk):
    found = run(desk, "--from", "9999-12-31", "--to", "9999-12-31")
    assert found.status == 2
    assert "they cover 1 to 2 June 2025" in found.err


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_outputs_appear_all_or_none(desk):
    found = run(desk, "--html", path(desk, "page.html"), "--json", "/dev/full")
    assert found.status == 2
    assert "/dev/full cannot be written: no space left on device" in found.err
    assert found.out == ""
    assert sorted(one.name for one in desk.folder.iterdir()) == ["log.csv", "site.toml"]


def test_a_name_that_no_file_can_have_is_refused(desk):
    for words in (("--json", "x" * 300), ("x" * 300,)):
        found = run(desk, *words)
        assert found.status == 2
        assert "file name too long" in found.err


def test_an_output_takes_the_place_of_an_older_one_and_keeps_its_rights(desk):
    (desk.folder / "real.json").write_text("old", encoding="utf-8")
    (desk.folder / "real.json").chmod(0o640)
    (desk.folder / "link.json").symlink_to("real.json")
    assert run(desk, "--json", path(desk, "link.json")).status == 0
    assert (desk.folder / "link.json").is_symlink()
    assert (desk.folder / "real.json").read_text(encoding="utf-8").startswith("{")
    assert stat.S_IMODE((desk.folder / "real.json").stat().st_mode) == 0o640


def test_an_output_into_a_pipe_goes_through_it_and_leaves_it_there(desk):
    pipe = desk.folder / "pipe"
    os.mkfifo(pipe)
    taken: list[str] = []
    reader = threading.Thread(target=lambda: taken.append(pipe.read_text(encoding="utf-8")))
    reader.start()
    assert run(desk, "--json", str(pipe)).status == 0
    reader.join(timeout=30)
    assert taken[0].startswith("{")
    assert stat.S_ISFIFO(pipe.stat().st_mode)


@pytest.mark.parametrize("words", [("--json", ""), ("--html", ""), ("--html", "-")])
def test_an_output_without_a_name_is_refused(desk, words):
    found = run(desk, *words)
    assert found.status == 2
    assert f"{words[0]} needs a file name" in found.err


def test_a_folder_as_output_is_refused_before_any_work(desk):
    found = run(desk, "--json", str(desk.folder))
    assert found.status == 2
    assert "is a folder; add a file name" in found.err


def test_logs_of_one_name_in_two_folders_are_told_apart(desk):
    dirty = LOG.replace(",60,", ",6O,", 1)
    first, second = desk.put("2024/log.csv", LOG), desk.put("2025/log.csv", dirty)
    found = desk.run(path(desk, "site.toml"), first, second, "--json", "-")
    assert found.status == 1
    assert found.report["rejected"][0]["file"] == second
    alone = desk.run(path(desk, "site.toml"), second, "--json", "-")
    assert alone.report["rejected"][0]["file"] == "log.csv"


def test_a_log_given_twice_counts_once(desk):
    once, twice = run(desk, "--json", "-").report, run(desk, path(desk, "log.csv"), "--json", "-")
    assert twice.status == 0
    assert twice.report["rows"]["duplicate"] == once["rows"]["kept"]
    assert twice.report["days"] == once["days"]


def test_order_overlap_and_packing_of_logs_do_not_matter(desk):
    lines = LOG.splitlines(keepends=True)
    early, late = "".join(lines[:200]), "".join([lines[0], *lines[150:]])
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("a/late.csv", late)
        archive.writestr("early.csv", early)
    files = [
        [desk.put("late.csv", late), desk.put("early.csv", early)],
        [desk.put("late.csv.gz", gzip.compress(late.encode())), desk.put("early.csv", early)],
        [desk.put("both.zip", packed.getvalue())],
    ]
    whole = run(desk, "--json", "-").report
    for names in files:
        report = desk.run(path(desk, "site.toml"), *names, "--json", "-").report
        assert report["rows"]["kept"] == whole["rows"]["kept"]
        assert report["rows"]["duplicate"] == 50
        assert report["days"] == whole["days"]


def test_progress_and_warnings_stay_away_from_a_standard_error_that_is_no_terminal(desk):
    heads = (*LOOP, "t_collector_c")
    gone = a_log(
        "2025-05-31T23:00", 4 * 144, heads=heads,
        values=lambda row: (
            60 + row % 7, 45 + row % 5, 2, 100, None if 144 <= row < 288 else 40 + row % 50,
        ),
    )  # fmt: skip
    found = desk.report(full_site(), gone)
    assert (found.status, found.err) == (0, "")


def test_the_page_is_one_file_that_needs_no_other_host(desk):
    assert run(desk, "--html", path(desk, "page.html")).status == 0
    page = (desk.folder / "page.html").read_text(encoding="utf-8")
    for pulled in ('src="http', "src='http", '<link rel="stylesheet"', "@import"):
        assert pulled not in page


def test_the_report_shows_how_each_log_was_understood(desk):
    foreign = "Datum;Dach;Vorlauf;X\n01.06.2025 10:00;60,5;50,0;1\n01.06.2025 10:01;60,6;50,1;2\n"
    columns = '"Dach" = { channel = "collector", unit = "C" }\n'
    columns += '"Vorlauf" = { channel = "loop_hot" }\n"Durchfluss" = { channel = "flow" }\n'
    found = desk.run(
        path(desk, "site.toml"), desk.put("foreign.csv", foreign),
        "--map", desk.put("map.toml", f"[log]\n[log.columns]\n{columns}"),
    )  # fmt: skip
    text = " ".join(found.out.split())
    assert found.status == 0
    assert "foreign.csv: semicolon separated, decimal comma" in text
    assert "day.month.year, clock of Europe/London" in text
    assert "Dach = collector in C; Vorlauf = loop_hot in °C" in text
    assert "not known and left out: X" in text
    assert "[log.columns] names what no log has: Durchfluss" in text


def test_the_report_counts_values_that_cannot_be_real(desk):
    found = desk.run(
        path(desk, "site.toml"), desk.put("open.csv", LOG.replace(",60,45,", ",999.9,45,", 3))
    )
    assert found.status == 0
    assert "3 values outside -50 to 250 °C" in " ".join(found.out.split())


def test_many_logs_that_are_alike_are_described_once(desk):
    days = [
        desk.put(f"day-{number}.csv", a_log(f"2025-06-0{number}T00:00", 144))
        for number in range(1, 6)
    ]
    text = " ".join(desk.run(path(desk, "site.toml"), *days).out.split())
    assert "day-1.csv and 4 more files like it: comma separated" in text


def test_nothing_from_a_file_steers_the_terminal(desk):
    lines = LOG.splitlines()
    odd = "\n".join(f"{line},{chr(27) + '[2J' if number == 0 else 1}"
                    for number, line in enumerate(lines))  # fmt: skip
    named = full_site().replace("Mill Lane 4", "Mill\\u001b[31m Lane")
    found = desk.run(desk.put("odd.toml", named), desk.put("odd.csv", odd))
    assert found.status == 0
    assert chr(27) not in found.out
    assert "not known and left out: ?[2J" in found.out


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("words", [(), ("--json", "-")])
def test_a_standard_output_that_is_full_is_said_plainly(desk, words):
    command = [sys.executable, "-m", "service.cli", "report"]
    command += [path(desk, "site.toml"), path(desk, "log.csv"), *words]
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        found = subprocess.run(
            command, stdout=full, stderr=subprocess.PIPE, text=True, timeout=60, check=False
        )
    assert found.returncode == 2
    assert found.stderr == (
        "suntally report: standard output cannot be written: no space left on device; "
        "send it elsewhere\n"
    )
