"""`suntally read`: what a log holds in plain words, and the map it proposes. Invented logs."""

import argparse
from dataclasses import replace

import pytest

from analysis.logs.asking import Choice, ColumnUnderstood, Question, Understood
from analysis.logs.proposed_map import proposed_map
from analysis.logs.shapes import ColumnRead, FileRead
from analysis.problem_groups import grouped
from analysis.results import Problem
from analysis.site import ColumnMeaning, LogMap
from analysis.sitefile import parse_map
from dashboards.read_text import map_text, read_text
from fixtures.logfile import tidy_csv
from fixtures.scenario import home, site_toml
from fixtures.sensors import observe
from fixtures.simulate import simulate
from service.read_command import add_arguments, run
from tests.build_service import site_file, tidy_log

NAN = float("nan")


def column(place, head, meaning=None, source="proposal", sure=0.97, **more):
    return ColumnUnderstood(
        place=place,
        head=head,
        unit_head=more.pop("unit_head", ""),
        meaning=meaning,
        source=source,
        certainty_frac=sure,
        reasons=more.pop("reasons", ()),
        **more,
    )


ASKED = Question(
    kind="column",
    file="a.csv",
    subject="4",
    choices=(
        Choice(value="store_top", says="the store, top", certainty_frac=0.55),
        Choice(value="store_middle", says="the store, middle", certainty_frac=0.4),
        Choice(value="", says="none of these", certainty_frac=NAN),
    ),
    why="it moves with the store, and two places fit",
)
ORDER = Question(
    kind="date_order",
    file="a.csv",
    subject="",
    choices=(
        Choice(value="day_first", says="3 April 2025 (day first)", certainty_frac=0.5),
        Choice(value="month_first", says="4 March 2025 (month first)", certainty_frac=0.5),
    ),
    why="03/04/2025 can be read in two ways",
)
UNDERSTOOD = Understood(
    file="a.csv",
    encoding="Windows-1252",
    delimiter=";",
    decimal=",",
    thousands="",
    header_lines=(),
    first_line=1,
    long=False,
    stamp_head="",
    stamp_format="03/04/2025 12:30",
    stamp_example="03/04/2025 12:30",
    time_zone="Europe/Berlin",
    time_zone_source="site",
    steps_s=(60, 300),
    columns=(
        column(
            1,
            "",
            ColumnMeaning(channel="collector", unit="C"),
            reasons=("hot at midday, cold at night, hotter than every other column",),
            sentinels=(999.9,),
            masked=3,
        ),
        column(2, "S2 \x1b[31mroof", ColumnMeaning(channel="loop_hot", unit="F"), set_aside=1),
        column(3, "", None, source="none", sure=0.55),
    ),
    questions=(ORDER, ASKED),
)
READ = FileRead(
    name="a.csv",
    rows=2880,
    first_s=1_743_500_000,
    last_s=1_743_700_000,
    dialect="as understood",
    columns=(ColumnRead(head="", channel="collector", unit="C"),),
    ignored=("4",),
    understood=UNDERSTOOD,
)


def shown(**more):
    given = {
        "ranges": {"collector": (-4.2, 128.7)},
        "questions": UNDERSTOOD.questions,
        "set_aside": grouped(
            [Problem(file="a.csv", line=812, column="S2", why="'8O.5' is no number")]
        ),
        "impossible": {"collector": 3},
        "timezone": "Europe/Berlin",
    }
    return read_text([READ], **{**given, **more})


def test_everything_that_was_understood_stands_there_in_80_columns():
    text = shown()
    flat = " ".join(text.split())
    for words in (
        "Semicolons between columns, decimal comma, no header, Windows-1252",
        "clock of Europe/Berlin taken for granted",
        "a row every 1 minute then 5 minutes",
        "hot at midday, cold at night, hotter than every other column",
        "from −4.2 to 128.7 °C",
        "999.9 stands for a broken sensor here",
        "3 values cannot be real and are not used",
        "1 cell is no number",
        "1. 03/04/2025 can be read in two ways",
        "a) 3 April 2025 (day first) (50 %)",
        "2. Column 4: it moves with the store, and two places fit",
        "a.csv, line 812, column S2: '8O.5' is no number",
    ):
        assert words in flat
    assert "none of these (" not in flat  # nothing is known of its certainty
    assert "\x1b" not in text
    assert max(map(len, text.splitlines())) <= 80
    row = next(line for line in text.splitlines() if line.startswith("  column 2"))
    assert row.split()[-4:] == ["collector", "C", "97", "%"]
    asked = next(line for line in text.splitlines() if line.startswith("  column 4"))
    assert "perhaps store, top" in asked
    assert asked.endswith("asked")


def test_files_that_are_alike_share_an_entry_and_others_do_not():
    many = [replace(READ, name=f"{day}.csv", rows=10) for day in range(200)]
    text = read_text(
        [*many, replace(READ, name="other.csv", dialect="another")],
        ranges={}, questions=(), set_aside=(), impossible={}, timezone="UTC",
    )  # fmt: skip
    assert "0.csv and 199 more files like it" in text
    assert "2,000 rows" in text
    assert text.count("COLUMN") == 2


def test_the_map_holds_what_is_certain_and_the_rest_to_complete():
    certain = proposed_map([READ], told=LogMap())
    assert dict(certain.columns) == {
        "2": ColumnMeaning(channel="collector", unit="C"),
        "S2 \x1b[31mroof": ColumnMeaning(channel="loop_hot", unit="F"),
    }
    text = map_text(certain, UNDERSTOOD.questions)
    assert parse_map(text) == certain
    assert '# date_order = "day_first"' in text
    # Taking the comment sign away answers the question.
    answered = text.replace('# "4" = { channel = "store_top" }', '"4" = { channel = "store_top" }')
    assert dict(parse_map(answered).columns)["4"] == ColumnMeaning(channel="store_top", unit=None)


def test_a_hostile_head_or_reason_cannot_write_keys_into_the_map():
    nasty = replace(ASKED, subject='x" = 1\n[log]\n"', why="a\nb = 1\n[site]")
    text = map_text(LogMap(), [nasty])
    assert parse_map(text) == LogMap()


def test_a_channel_in_two_columns_is_not_guessed():
    twice = replace(
        UNDERSTOOD,
        columns=tuple(
            column(place, f"S{place}", ColumnMeaning(channel="collector", unit="C"))
            for place in (1, 2)
        ),
    )
    told = LogMap(columns=(("S9", ColumnMeaning(channel="flow", unit="l/h")),))
    found = proposed_map([replace(READ, understood=twice)], told=told)
    assert [head for head, _ in found.columns] == ["S9", "S1"]


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "site.toml").write_text(site_file(), encoding="utf-8")
    (tmp_path / "log.csv").write_text(tidy_log(hours=48), encoding="utf-8")
    return tmp_path


def command(folder, *words):
    parser = argparse.ArgumentParser()
    add_arguments(parser)
    return run(parser.parse_args([str(folder / w) if "." in w else w for w in words]))


def test_a_tidy_log_is_understood_with_and_without_a_site(folder, capsys):
    assert command(folder, "log.csv", "--site", "site.toml") == 0
    assert "(Europe/Berlin)" in capsys.readouterr().out
    assert command(folder, "log.csv", "--map-out", "map.toml") == 0
    out = capsys.readouterr().out
    assert "1 June 2025, 00:10 to 3 June 2025, 00:00 (UTC)" in out
    assert parse_map((folder / "map.toml").read_text(encoding="utf-8")) == LogMap()


def test_an_unusable_file_is_one_plain_message_and_writes_nothing(folder, capsys):
    (folder / "empty.csv").write_text("", encoding="utf-8")
    assert command(folder, "empty.csv", "--map-out", "map.toml") == 2
    error = capsys.readouterr().err
    assert error.startswith("suntally read: ")
    assert error.count("\n") == 1
    assert not (folder / "map.toml").exists()


def test_the_sun_tells_that_the_clock_is_wrong(folder, capsys):
    scenario = home()
    run_ = simulate(scenario, seed=8, start="2025-05-10", days=6)
    log = observe(run_, seed=2, channels=("irradiance_plane", "collector"), step_s=600)
    (folder / "roof.toml").write_text(site_toml(scenario), encoding="utf-8")
    for off_min, words in ((0, "the clock fits the sun"), (75, "minutes ahead of the sun")):
        late = replace(log, stamp_s=log.stamp_s + 60 * off_min)
        (folder / "sun.csv").write_bytes(tidy_csv(late))
        map_out = f"map{off_min}.toml"
        assert command(folder, "sun.csv", "--site", "roof.toml", "--map-out", map_out) == 0
        said = " ".join(capsys.readouterr().out.split())
        assert words in said
        # What would put it right is offered, and never written as done.
        for text in (said, (folder / map_out).read_text(encoding="utf-8")):
            assert ("clock_offset_min = " in text) == (off_min > 0)
        told = parse_map((folder / map_out).read_text(encoding="utf-8"))
        assert told.clock_offset_min is None


def test_the_map_is_never_written_over_the_log(folder, capsys):
    assert command(folder, "log.csv", "--map-out", "log.csv") == 2
    assert "in use already" in capsys.readouterr().err


def test_a_log_without_header_shows_all_its_columns_and_asks(folder, capsys):
    rows = tidy_log(hours=48).splitlines()[1:]
    bare = "\n".join(",".join(row.split(",")[:7]) for row in rows)
    (folder / "bare.csv").write_text(bare, encoding="utf-8")
    assert command(folder, "bare.csv", "--site", "site.toml", "--map-out", "map.toml") == 1
    out = capsys.readouterr().out
    for number in range(2, 8):
        assert f"column {number} " in out
    assert "288 rows" in out
    assert "no header" in out
    assert max(map(len, out.splitlines())) <= 80 + len(str(folder))
    parse_map((folder / "map.toml").read_text(encoding="utf-8"))


def test_what_keeps_a_log_from_being_read_is_asked_with_its_answers(folder, capsys):
    rows = [f"03/04/2025 {hour:02}:00,{20 + hour}" for hour in range(24)]
    text = "\n".join(["time,t_collector_c", *rows])
    (folder / "open.csv").write_text(text, encoding="utf-8")
    assert command(folder, "open.csv", "--map-out", "map.toml") == 1
    out = capsys.readouterr().out
    assert "ASKED" in out
    assert "the month stands first" in out
    answered = (
        (folder / "map.toml")
        .read_text(encoding="utf-8")
        .replace('# date_order = "month_first"', 'date_order = "month_first"')
    )
    (folder / "map.toml").write_text(answered, encoding="utf-8")
    assert command(folder, "open.csv", "--map", "map.toml") == 0
    assert "4 March 2025" in capsys.readouterr().out
