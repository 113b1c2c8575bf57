"""Rows set aside for one reason are one line, with their count, span, an example and a remedy."""

from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource
from analysis.problem_groups import grouped
from analysis.results import Problem
from dashboards.set_aside_words import set_aside_facts

HEAD = "time,t_collector_c,flow_l_min"


def sound(number: int) -> str:
    return f"2025-06-{1 + number // 1440:02d}T{number // 60 % 24:02d}:{number % 60:02d}:00Z,40.5,1"


def read(lines: list[str]):
    text = "\n".join([HEAD, *lines]) + "\n"
    return read_logs([LogSource(name="log.csv", data=text.encode())], site=None)


def test_more_rows_than_are_listed_are_one_group_with_an_example():
    lines = [sound(number) for number in range(3000)]
    for number in range(500, 2100):
        lines[number] = lines[number].replace("2025-06", "1970-01")
    lines[10] = lines[10].replace("40.5", "4O.5")
    parsed = read(lines)
    assert parsed.problems == 1601
    cell, stamps = sorted(parsed.set_aside, key=lambda one: one.count)
    assert (cell.count, cell.lines, cell.column) == (1, (12,), "t_collector_c")
    assert "4O.5" in cell.why
    assert (stamps.count, stamps.first_line, stamps.last_line) == (1600, 502, 2101)
    assert stamps.value == "1970-01-01T08:20:00Z"
    said = [f"{one.label}: {one.value}" for one in set_aside_facts(parsed.set_aside)]
    assert said[0].startswith("log.csv, lines 502 to 2101, column time: 1,600 times: before 1990")
    assert "such as “1970-01-01T08:20:00Z”" in said[0]
    assert "nothing to do where it marks a missing value" in said[1]


def test_what_stands_in_cells_makes_no_reason_of_its_own():
    whys = ["'a' is not a number", "'b it''s' is not a number", "3 cells where 5 are expected"]
    problems = [
        Problem(file="log.csv", line=line, column="S1", why=whys[line % 2]) for line in range(1, 5)
    ]
    problems.append(Problem(file="log.csv", line=9, column=None, why=whys[2]))
    problems.append(Problem(file="log.csv", line=7, column=None, why="4" + whys[2][1:]))
    numbers, widths = grouped(problems)
    assert (numbers.count, numbers.lines) == (4, (1, 2, 3, 4))
    assert (widths.count, widths.lines) == (2, (7, 9))
    labels = [one.label for one in set_aside_facts([numbers, widths])]
    assert labels == ["log.csv, lines 1, 2, 3 and 4, column S1", "log.csv, lines 7 and 9"]


def test_a_file_that_cannot_be_read_is_a_line_of_its_own():
    good = LogSource(name="a.csv", data="\n".join([HEAD, sound(1), sound(2)]).encode())
    bad = LogSource(name="b.csv", data=b"nothing")
    parsed = read_logs([good, bad], site=None)
    assert [(one.file, one.count) for one in parsed.set_aside] == [("b.csv", 1)]


def test_a_hostile_file_gives_no_endless_list():
    problems = [Problem(file="log.csv", line=n, column=f"c{n}", why="x") for n in range(1000)]
    groups = grouped(problems)
    assert len(groups) == 200
    assert sum(one.count for one in groups) == 1000
