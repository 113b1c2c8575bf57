"""Reading whole logs: dialects, damaged rows, overlapping files, honest counts."""

import math
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from analysis.errors import LogError
from analysis.fluid import density_kg_m3
from analysis.logs.blocks import BlockReader
from analysis.logs.dialect import find_dialect
from analysis.logs.layout import find_layout
from analysis.logs.reading import read_logs
from analysis.logs.rows import RowReader
from analysis.logs.shapes import PROBLEMS_LISTED, LogSource, ProblemList
from analysis.site import ColumnMeaning, LogMap
from analysis.sitefile import parse_map, parse_site

ROOT = Path(__file__).parents[2]
SITE = replace(
    parse_site((ROOT / "fixtures/sites/mill-lane-4.toml").read_text("utf-8")), log=LogMap()
)
WATER = replace(SITE, loop=replace(SITE.loop, fluid="water", concentration_frac=0.0))


def utc(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp())


def read(*texts: str | bytes, site=SITE, log_map=None, now_s=None):
    files = [
        LogSource(name=f"{n}.csv", data=text.encode() if isinstance(text, str) else text)
        for n, text in enumerate(texts, 1)
    ]
    return read_logs(files, site=site, log_map=log_map, now_s=now_s)


def columns(**meanings: tuple[str, str | None]) -> LogMap:
    return LogMap(
        columns=tuple(
            (head, ColumnMeaning(channel=channel, unit=unit))
            for head, (channel, unit) in meanings.items()
        )
    )


TIDY = (
    "time,t_collector_c,flow_l_min\n"
    "2025-06-01T12:01:00Z,60.5,2.0\n"
    "2025-06-01T12:02:00Z,,2.1\n"
    "2025-06-01T12:03:00Z,61.5,0\n"
)


def test_a_tidy_log_needs_no_map():
    log = read(TIDY)
    assert log.stamp_s.tolist() == [utc("2025-06-01T12:01") + 60 * n for n in range(3)]
    np.testing.assert_array_equal(log.columns["collector"], [60.5, math.nan, 61.5])
    np.testing.assert_array_equal(log.columns["flow"], [2.0, 2.1, 0.0])
    assert (log.rows.read, log.rows.kept, log.rows.duplicate, log.rows.rejected) == (3, 3, 0, 0)
    assert log.stamp == "end"
    assert log.rejected == ()
    assert log.files[0].rows == 3
    assert "comma separated" in log.files[0].dialect


def test_tidy_heads_are_known_in_any_case_and_order():
    log = read("FLOW_L_MIN, Time ,T_Collector_2_C\n2,2025-06-01T12:01:00+02:00,60\n")
    assert set(log.columns) == {"flow", "collector_2"}
    assert log.stamp_s.tolist() == [utc("2025-06-01T10:01")]


def test_a_header_with_unit_in_brackets_is_known():
    log = read("time;Collector [F];flow (l/h)\n2025-06-01T12:01:00Z;212;120\n")
    assert log.columns["collector"][0] == pytest.approx(100.0)
    assert log.columns["flow"][0] == pytest.approx(2.0)


def test_the_map_tells_which_end_a_stamp_marks():
    assert read(TIDY, log_map=LogMap(stamp="start", values="mean")).stamp == "start"
    assert read(TIDY, log_map=LogMap(stamp="start", values="mean")).values == "mean"


MAP = columns(S1=("collector", "C"), V=("flow", "l/min"))


@pytest.mark.parametrize(
    "text",
    [
        "Zeit;S1;V\n01.06.2025 14:01;60,5;2,0\n01.06.2025 14:02;60,5;2,0\n",
        "Zeit;S1;V\n1.6.2025 14:01:00;60,5;2,0\n1.6.2025 14:02:00;60,5;2,0\n",
        "time\tS1\tV\n2025/06/01 14:01\t60.5\t2.0\n2025/06/01 14:02\t60.5\t2.0\n",
        "when|S1|V\n2025-06-01T14:01|60.5|2.0\n2025-06-01T14:02|60.5|2.0\n",
        'time,S1,V\n"2025-06-01 14:01","60,5","2,0"\n"2025-06-01 14:02","60,5","2,0"\n',
        "date,clock,S1,V\n2025-06-01,14:01,60.5,2.0\n2025-06-01,14:02,60.5,2.0\n",
        "Date;S1;V;Time\n01.06.2025 14:01;60,5;2,0;x\n01.06.2025 14:02;60,5;2,0;x\n",
        "S1;V;time\n60.5;2.0;1748779260\n60.5;2.0;1748779320\n",
        "S1;V;time\n60.5;2.0;1748779260000\n60.5;2.0;1748779320000\n",
        "Plant 7\nexported by me\n\ntime;S1;V;\n01.06.2025 14:01;60,5;2,0;\n"
        "01.06.2025 14:02;60,5;2,0;\n",
        "# a comment\ntime S1   V\n2025-06-01T14:01  60.5 2.0\n2025-06-01T14:02  60.5   2.0\n",
        "time,S1,V\r\n2025-06-01 02:01 PM,60.5,2.0\r\n2025-06-01 02:02 PM,60.5,2.0\r\n",
        "time,S1,V\r2025-06-01 14:01,60.5,2.0\r2025-06-01 14:02,60.5,2.0\r",
        "time,S1,V\n\n2025-06-01 14:01,60.5,2.0\n\n2025-06-01 14:02,60.5,2.0\n\n",
    ],
)
def test_a_mapped_log_is_read_however_it_is_written(text):
    zone = replace(SITE, place=replace(SITE.place, timezone="Europe/Berlin"))
    log = read(text, site=zone, log_map=MAP)
    assert log.stamp_s.tolist() == [utc("2025-06-01T12:01"), utc("2025-06-01T12:02")]
    np.testing.assert_array_equal(log.columns["collector"], [60.5, 60.5])
    np.testing.assert_array_equal(log.columns["flow"], [2.0, 2.0])
    assert log.problems == 0


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-be", "cp1252"])
def test_encodings_are_found(encoding):
    text = "time;Fühler °C\n2025-06-01T12:01:00Z;60\n2025-06-01T12:02:00Z;61\n"
    log_map = LogMap(columns=(("Fühler °C", ColumnMeaning(channel="collector", unit="°C")),))
    log = read(text.encode(encoding), log_map=log_map)
    np.testing.assert_array_equal(log.columns["collector"], [60, 61])


def test_day_first_is_taken_only_when_the_file_proves_it():
    head = "time;S1\n"
    months = [f"03/0{n}/2025 10:00;5{n}" for n in (1, 4)]
    with pytest.raises(LogError, match="can be read as day/month/year and as month/day/year"):
        read(head + "\n".join(months), log_map=MAP)
    proof = head + "\n".join([*months, "13/04/2025 10:00;60"])
    assert read(proof, log_map=MAP).stamp_s[0] == utc("2025-01-03T10:00")
    american = head + "\n".join([*months, "04/13/2025 10:00;60"])
    assert read(american, log_map=MAP).stamp_s[0] == utc("2025-03-01T10:00")


def test_days_in_a_row_prove_the_order_of_day_and_month():
    text = "time;S1\n" + "\n".join(f"0{d}/03/2025 10:00;50" for d in (1, 2, 3, 4))
    assert read(text, log_map=MAP).stamp_s[-1] == utc("2025-03-04T10:00")


def test_one_file_proves_the_order_for_another_like_it():
    unsure = "time;S1\n03/04/2025 10:00;50\n"
    sure = "time;S1\n13/04/2025 10:00;50\n"
    for files in ((unsure, sure), (sure, unsure)):
        log = read(*files, log_map=MAP)
        assert log.stamp_s.tolist() == [utc("2025-04-03T09:00"), utc("2025-04-13T09:00")]


def test_a_told_time_format_goes_before_what_is_found():
    log_map = replace(MAP, time_format="%m/%d/%Y %H:%M", timezone="UTC")
    assert read("time;S1\n03/04/2025 10:00;50\n", log_map=log_map).stamp_s[0] == utc(
        "2025-03-04T10:00"
    )


def test_month_names_are_read_when_told():
    log_map = replace(MAP, time_format="%d %b %Y %H:%M", timezone="UTC")
    assert read("time;S1\n04 Mar 2025 10:00;50\n", log_map=log_map).stamp_s[0] == utc(
        "2025-03-04T10:00"
    )


def test_a_told_format_may_span_date_and_time_columns():
    log_map = replace(MAP, time_format="%d.%m.%y %H:%M", timezone="UTC")
    assert read("Tag;Uhr;S1\n04.03.25;10:00;50\n", log_map=log_map).stamp_s[0] == utc(
        "2025-03-04T10:00"
    )


@pytest.mark.parametrize(
    ("row", "column", "why"),
    [
        ("2025-06-01T12:04:00Z,6O.5,2.0", "t_collector_c", "'6O.5' is not a number"),
        ("2025-06-01T12:04:00Z,inf,2.0", "t_collector_c", "'inf' is not a number"),
        ("2025-06-01T12:04:00Z,1_0,2.0", "t_collector_c", "'1_0' is not a number"),
    ],
)
def test_a_cell_that_is_no_number_is_told_and_the_row_kept(row, column, why):
    log = read(TIDY + row + "\n")
    (problem,) = log.rejected
    assert (problem.file, problem.line, problem.column) == ("1.csv", 5, column)
    assert problem.why == why
    assert log.rows.kept == 4
    assert math.isnan(log.columns["collector"][3])
    assert log.columns["flow"][3] == 2.0


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ("yesterday,60.5,2.0", "the time 'yesterday' cannot be read"),
        (",60.5,2.0", "the time is empty"),
        ("2025-02-30T12:04:00Z,60.5,2.0", "the time '2025-02-30T12:04:00Z' cannot be read"),
        ("2025-06-01T12:04:00,60.5,2.0", "the time '2025-06-01T12:04:00' cannot be read"),
        ("2025-06-01T12:0", "1 cell where 3 are expected: the line is cut off or damaged"),
        ("2025-06-01T12:04:00Z,60.5,2.0,7", "4 cells where 3 are expected: the line is damaged"),
        ("1970-01-01T00:04:00Z,60.5,2.0", "the logger's clock was not set"),
        ("2025-06-01T12:04:00Z,a,b", "'a' is not a number"),
    ],
)
def test_a_row_without_use_is_rejected_with_its_line(row, why):
    log = read(TIDY + row + "\n")
    assert log.rows.rejected == 1
    assert log.rows.read == 4
    assert log.rejected[0].line == 5
    assert why in log.rejected[0].why


def test_rows_need_not_end_in_the_sign_that_ends_the_header():
    """A logger stops ending its lines in a separator; a last line that is cut off stays out."""
    rows = [f"2025-06-01T12:{minute:02d}:00Z,62.0,2.2" for minute in range(4, 60)]
    ended = "".join(line + ",\n" for line in (*TIDY.splitlines(), *rows[:40]))
    bare = "\n".join(rows[40:])
    log = read(ended + bare + "\n")
    assert (log.rows.read, log.rows.rejected) == (59, 0)
    assert log.columns["collector"][3:].tolist() == [62.0] * 56
    cut = read(ended + bare)
    assert [(one.line, one.why) for one in cut.rejected] == [
        (60, "3 cells where 4 are expected: the line is cut off or damaged")
    ]


def test_what_is_quoted_is_cut_at_40_signs():
    log = read(TIDY + f"2025-06-01T12:04:00Z,{'x' * 500},2\n")
    assert log.rejected[0].why == f"'{'x' * 40}...' is not a number"


@pytest.mark.parametrize("word", ["", "-", "--", "n/a", "NaN", "null", "N/A", " "])
def test_words_for_missing_are_silent(word):
    log = read(TIDY + f"2025-06-01T12:04:00Z,{word},2\n")
    assert log.problems == 0
    assert math.isnan(log.columns["collector"][3])


def test_repeated_headers_comments_and_blank_lines_inside_are_passed_over():
    head, *rows = TIDY.strip().split("\n")
    log = read("\n".join([head, rows[0], "", head, "# restarted, at noon", rows[1], rows[2]]))
    assert (log.rows.read, log.rows.kept, log.problems) == (3, 3, 0)


def test_a_row_keeps_its_line_after_blank_lines():
    log = read(TIDY + "\n\n2025-06-01T12:04:00Z,x,2\n")
    assert log.rejected[0].line == 7


def big(rows: int, step_s: int = 60) -> list[str]:
    start = np.datetime64("2025-01-01T00:01:00")
    stamps = start + np.arange(rows) * np.timedelta64(step_s, "s")
    return [f"{stamp}Z,{20 + n % 50}.25,1.5" for n, stamp in enumerate(stamps)]


def test_damage_deep_in_a_large_file_is_found_at_its_line_and_costs_nothing_else():
    rows = big(90_000)
    bad = {777: "rubbish", 41_000: rows[41_000] + ",9", 41_001: rows[41_001].replace("1.5", "?")}
    for place, text in bad.items():
        rows[place] = text
    log = read("time,t_collector_c,flow_l_min\n" + "\n".join(rows))
    assert [problem.line for problem in log.rejected] == [779, 41_002, 41_003]
    assert (log.rows.kept, log.rows.rejected) == (89_998, 2)
    assert np.isnan(log.columns["flow"]).sum() == 1
    assert np.nansum(log.columns["flow"]) == pytest.approx(1.5 * 89_997)


def test_an_open_quote_does_not_swallow_the_lines_after_it():
    rows = big(3_000)
    rows[1000] = rows[1000].replace(",1.5", ',"1.5')
    rows[1002] = rows[1002].replace(",1.5", '",1.5')
    log = read("time,t_collector_c,flow_l_min\n" + "\n".join(rows))
    assert log.rows.read == 3_000
    assert log.rows.kept >= 2_998
    assert {problem.line for problem in log.rejected} <= {1002, 1004}


def test_problems_are_listed_up_to_a_cap_and_all_counted():
    rows = [row.replace("1.5", "bad") for row in big(PROBLEMS_LISTED + 500)]
    log = read("time,t_collector_c,flow_l_min\n" + "\n".join(big(5) + rows))
    assert len(log.rejected) == PROBLEMS_LISTED
    assert log.problems == PROBLEMS_LISTED + 500


def test_impossible_values_are_counted_and_kept_as_written():
    log = read(TIDY + "2025-06-01T12:04:00Z,3276.7,2\n")
    assert log.impossible == {"collector": 1}
    assert log.columns["collector"][3] == 3276.7
    assert (log.rows.kept, log.problems) == (4, 0)


def test_rows_out_of_order_are_sorted():
    head, *rows = TIDY.strip().split("\n")
    straight = read(TIDY)
    log = read("\n".join([head, rows[2], rows[0], rows[1]]))
    np.testing.assert_array_equal(log.stamp_s, straight.stamp_s)
    np.testing.assert_array_equal(log.columns["flow"], straight.columns["flow"])


def test_the_same_rows_twice_are_duplicates_in_any_order_of_files():
    head, *rows = TIDY.strip().split("\n")
    first, second = "\n".join([head, *rows[:2]]), "\n".join([head, *rows[1:]])
    for files in ((first, second), (second, first)):
        log = read(*files)
        assert (log.rows.read, log.rows.kept, log.rows.duplicate) == (4, 3, 1)
        np.testing.assert_array_equal(log.columns["collector"], read(TIDY).columns["collector"])


def test_of_differing_rows_the_later_given_wins_but_never_with_an_empty_cell():
    later = "time,t_collector_c,flow_l_min\n2025-06-01T12:01:00Z,,2.5\n"
    log = read(TIDY, later)
    assert log.columns["collector"][0] == 60.5
    assert log.columns["flow"][0] == 2.5
    assert log.rows.duplicate == 1


def test_files_with_different_columns_are_joined_on_their_stamps():
    log = read(TIDY, "time,t_ambient_c\n2025-06-01T12:02:00Z,21\n2025-06-01T12:05:00Z,22\n")
    np.testing.assert_array_equal(log.columns["ambient"], [math.nan, 21, math.nan, 22])
    np.testing.assert_array_equal(log.columns["flow"], [2.0, 2.1, 0.0, math.nan])


def test_an_impossible_value_in_overlapping_files_counts_once():
    bad = TIDY + "2025-06-01T12:04:00Z,3276.7,2\n"
    assert read(bad, bad).impossible == {"collector": 1}


@pytest.mark.parametrize(
    ("cells", "percent"),
    [
        (["0", "1", "1"], [0, 100, 100]),
        (["0", "0.5", "1"], [0, 50, 100]),
        (["0", "40", "1"], [0, 40, 1]),
        (["on", "OFF", ""], [100, 0, math.nan]),
        (["true", "false", "40"], [100, 0, 40]),
        (["0", "1", "on"], [0, 100, 100]),
    ],
)
def test_a_pump_column_without_unit_is_read_by_its_values(cells, percent):
    text = "time,pump_percent,t_collector_c\n" + "".join(
        f"2025-06-01T12:0{n}:00Z,{cell},50\n" for n, cell in enumerate(cells)
    )
    np.testing.assert_array_equal(read(text).columns["pump"], percent)


def test_a_word_late_in_a_numeric_pump_column_is_read_too():
    rows = [f"{row[:21]}1,50" for row in big(3_000)]
    rows[2_500] = rows[2_500].replace(",1,", ",on,")
    log = read("time,pump_percent,t_collector_c\n" + "\n".join(rows))
    assert (log.columns["pump"] == 100).all()
    assert log.problems == 0


def test_the_unit_of_a_pump_column_goes_before_its_values():
    text = "time,P\n2025-06-01T12:00:00Z,1\n2025-06-01T12:01:00Z,0.5\n"
    percent = read(text, log_map=columns(P=("pump", "%"))).columns["pump"]
    share = read(text, log_map=columns(P=("pump", "0..1"))).columns["pump"]
    assert (percent.tolist(), share.tolist()) == ([1, 0.5], [100, 50])


def test_a_pump_scale_is_told_by_all_files_together():
    head = "time,pump_percent\n"
    log = read(head + "2025-06-01T12:00:00Z,1\n", head + "2025-06-02T12:00:00Z,60\n")
    assert log.columns["pump"].tolist() == [1, 60]


def test_rows_from_the_future_are_rejected_and_a_log_of_nothing_else_refused():
    now_s = utc("2025-06-01T12:00")
    log = read(TIDY + "2025-06-09T12:04:00Z,60,2\n", now_s=now_s)
    assert log.rows.rejected == 1
    assert "set the logger's clock" in log.rejected[0].why
    with pytest.raises(LogError, match="set the logger's clock"):
        read(TIDY, now_s=utc("2024-06-01T12:00"))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"", "the file is empty"),
        (b"\n \n", "the file is empty"),
        (bytes(range(256)) * 40, "binary data"),
        (b"PK\x03\x04 xl/workbook.xml", "save the table as CSV"),
        (b"just a letter\nwith two lines\n", "no row of numbers"),
        (b"time,t_collector_c\n", "no row of numbers"),
        (b"time,a,b\n2025-06-01T12:01:00Z,1,2\n", "no column of this log is known"),
        (b"t_collector_c,flow_l_min\n1,2\n3,4\n", "no column holds the time"),
        (
            b"time,t_collector_c,t_collector_c\n2025-06-01T12:01:00Z,1,2\n",
            "both hold collector",
        ),
    ],
)
def test_what_is_no_log_is_refused_with_the_remedy(text, words):
    with pytest.raises(LogError, match=words) as caught:
        read(text)
    assert caught.value.file == "1.csv"


def test_a_hopeless_file_among_good_ones_is_a_problem_without_line():
    log = read(TIDY, b"", "time,a\n2025-06-01T12:01:00Z,1\n")
    assert log.rows.kept == 3
    assert [problem.file for problem in log.rejected] == ["2.csv", "3.csv"]
    assert log.rejected[0].line is None
    assert "empty" in log.rejected[0].why


def test_mass_flow_becomes_volume_flow_at_the_temperature_of_the_meter():
    text = "time,m,c,h\n2025-06-01T12:00:00Z,120,30,80\n2025-06-01T12:01:00Z,0,,\n"
    log_map = columns(m=("flow", "kg/h"), c=("loop_cold", "C"), h=("loop_hot", "C"))
    log = read(text, site=WATER, log_map=log_map)
    # IAPWS-95 through CoolProp 8.0.0: water at 30 C and 1 bar has 995.65 kg/m3.
    assert log.columns["flow"][0] == pytest.approx(2.0 / 0.99565, rel=1e-4)
    assert log.columns["flow"][1] == 0.0
    hot = replace(WATER, sensors=replace(WATER.sensors, flow_in="hot"))
    # Likewise at 80 C: 971.79 kg/m3.
    assert read(text, site=hot, log_map=log_map).columns["flow"][0] == pytest.approx(
        2.0 / 0.97179, rel=1e-4
    )


def test_mass_flow_without_loop_temperature_takes_a_usual_one():
    log = read(
        "time,m\n2025-06-01T12:00:00Z,120\n",
        site=WATER,
        log_map=columns(m=("flow", "kg/h")),
    )
    usual = float(density_kg_m3(fluid="water", concentration_frac=0.0, t_c=40.0))
    assert log.columns["flow"][0] == pytest.approx(2000.0 / usual)


def test_a_headless_file_of_blanks_is_read_by_column_numbers_from_an_origin():
    # The layout of the measured collector days of the IDEAS repository (BSD-3); numbers invented.
    rows = "\n".join(f"{120.2 + 120 * n} 74{n}.4 0.03 2{n}.5 0.0" for n in range(5))
    log_map = parse_map(
        '[log]\nstamp = "start"\ntime_origin = "2019-01-01T00:00:00Z"\n[log.columns]\n'
        '"1" = { channel = "time", unit = "s" }\n"2" = { channel = "irradiance_plane" }\n'
        '"4" = { channel = "loop_hot", unit = "C" }\n'
    )
    log = read(f"#1\ndouble data(5,5) #comment\n{rows}\n", log_map=log_map)
    assert log.stamp_s.tolist() == [utc("2019-01-01T00:02") + 120 * n for n in range(5)]
    assert log.columns["irradiance_plane"][4] == 744.4
    assert log.files[0].ignored == ("column 3", "column 5")


def test_what_was_understood_is_told():
    zone = replace(SITE, place=replace(SITE.place, timezone="Europe/Berlin"))
    account = read("when;S1;V;door\n01.06.2025 14:01;60,5;2,0;x\n", site=zone, log_map=MAP).files[0]
    assert account.ignored == ("door",)
    assert [(one.head, one.channel, one.unit) for one in account.columns] == [
        ("S1", "collector", "C"),
        ("V", "flow", "l/min"),
    ]
    for words in ("semicolon", "decimal comma", "day.month.year", "Europe/Berlin", "line 1", "end"):
        assert words in account.dialect


def test_a_map_goes_before_the_log_table_of_the_site_key_by_key():
    site = replace(SITE, log=replace(MAP, timezone="UTC", stamp="start"))
    text = "when;S1\n01.06.2025 14:01;60,5\n"
    log = read(text, site=site, log_map=LogMap(timezone="Etc/GMT-2"))
    assert log.stamp == "start"
    assert log.stamp_s[0] == utc("2025-06-01T12:01")


def test_a_line_of_units_between_header_and_rows_is_passed_over():
    log = read("time;S1;V\n;°C;l/min\n2025-06-01T12:01:00Z;60,5;2,0\n", log_map=MAP)
    assert log.columns["collector"].tolist() == [60.5]
    assert log.files[0].dialect.count("line 1") == 1


def test_the_decimal_sign_of_a_file_that_begins_with_whole_numbers_is_found_later():
    night = "".join(f"2025-06-01T00:{n:02d}:00Z;20;0\n" for n in range(59)) * 5
    log = read("time;S1;V\n" + night + "2025-06-01T12:01:00Z;60,5;2,0\n", log_map=MAP)
    assert log.columns["collector"][-1] == 60.5
    assert log.problems == 0


def test_a_time_that_cannot_be_read_is_quoted_with_the_remedy():
    with pytest.raises(LogError, match=r"not known: '25-152 12:01'; tell it in \[log\]") as caught:
        read("time;S1\n25-152 12:01;60\n", log_map=MAP)
    assert (caught.value.line, caught.value.column) == (2, "time")


DAMAGE = ["err", "", " 31.5 ", "on", "1e999", "-", "4,5", "5;5", "\n", '"', "#"]


@pytest.mark.parametrize("decimal", [".", ","])
@pytest.mark.parametrize("zone", ["Z", ""])
@pytest.mark.parametrize("seed", range(6))
def test_the_fast_and_the_tolerant_reader_agree(decimal, zone, seed, monkeypatch):
    rng = np.random.default_rng(seed)
    start = np.datetime64("2025-01-01T00:01:00")
    rows = []
    for n in range(9_000):
        cells = [f"{start + np.timedelta64(n, 'm')}{zone}"]
        cells += [f"{value:.2f}".replace(".", decimal) for value in rng.uniform(0, 40, 2)]
        cells += [str(rng.integers(2))]
        if rng.random() < 0.002 * seed:
            cells[rng.integers(4)] = DAMAGE[rng.integers(len(DAMAGE))]
        rows.append(";".join(cells))
    text = ("time;t_collector_c;flow_l_min;pump_percent\n" + "\n".join(rows)).encode()
    dialect = find_dialect("x", text, LogMap(decimal=decimal))
    layout = find_layout("x", dialect, LogMap())

    def read_by(reader):
        problems = ProblemList()
        rows_of = RowReader(file="x", dialect=dialect, layout=layout, problems=problems)
        return reader(rows_of), problems

    slow, slow_problems = read_by(
        lambda rows: rows.read(text[dialect.body_at :], dialect.first_line)
    )
    # Plain blocks have a reader of their own in files above a size: here in none, and in all.
    for alone in (1 << 20, 0):
        monkeypatch.setattr("analysis.logs.blocks._ALONE", alone)
        fast, fast_problems = read_by(lambda rows: BlockReader(rows=rows).read(text))
        assert fast_problems.listed == slow_problems.listed
        assert fast_problems.total == slow_problems.total
        assert fast.read == slow.read
        np.testing.assert_array_equal(fast.stamp_s, slow.stamp_s)
        np.testing.assert_array_equal(fast.lines, slow.lines)
        for place in range(3):
            np.testing.assert_array_equal(fast.values[place], slow.values[place])


def test_no_file_at_all_is_refused():
    with pytest.raises(LogError, match="name at least one"):
        read()


def test_a_damaged_sign_does_not_change_the_encoding_of_a_file():
    head = "time;Fühler außen °C;Rücklauf §;Größe µ\n"
    text = (head + "2025-06-01T12:01:00Z;60;1;2\n").encode()
    log_map = LogMap(columns=(("Fühler außen °C", ColumnMeaning(channel="ambient", unit="C")),))
    log = read(text + b"# cut \xc3", log_map=log_map)
    assert log.columns["ambient"].tolist() == [60]
    western = head.encode("cp1252") + b"2025-06-01T12:01:00Z;60;1;2\n"
    assert read(western, log_map=log_map).columns["ambient"].tolist() == [60]
    assert read(b"\xef\xbb\xbf" + TIDY.encode() + b"# \xb0\n").rows.kept == 3
