"""Blocks of plain rows: the same as the other readers give, or declined."""

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.logs.blocks import BlockReader
from analysis.logs.dialect import find_dialect
from analysis.logs.layout import find_layout
from analysis.logs.plain import PlainReader, plain_reader
from analysis.logs.rows import Part, RowReader
from analysis.logs.shapes import ProblemList
from analysis.site import LogMap

HEAD = "time;t_collector_c;note;flow_l_min\n"
ROW = "2025-06-01T12:{:02d}:00Z;61.5;well;2.25"


def rows_of(text: bytes, *, decimal: str = ".") -> RowReader:
    dialect = find_dialect("x", text, LogMap(decimal=decimal))
    layout = find_layout("x", dialect, LogMap())
    return RowReader(file="x", dialect=dialect, layout=layout, problems=ProblemList())


def plain(text: bytes, *, decimal: str = ".") -> Part | None:
    rows = rows_of(text, decimal=decimal)
    reader = plain_reader(rows)
    assert reader is not None
    body = text[rows.dialect.body_at :]
    return reader.read(
        np.frombuffer(body, dtype=np.uint8),
        first_line=rows.dialect.first_line,
        most=body.count(b"\n") + 1,
    )


def with_row(row: str) -> bytes:
    """Give a log in which this row comes after sound ones."""
    return (HEAD + "\n".join([*(ROW.format(n) for n in range(20)), row])).encode()


def assert_same(one: Part, other: Part) -> None:
    np.testing.assert_array_equal(one.stamp_s, other.stamp_s)
    np.testing.assert_array_equal(one.lines, other.lines)
    assert len(one.values) == len(other.values)
    for mine, theirs in zip(one.values, other.values, strict=True):
        np.testing.assert_array_equal(mine, theirs)
    assert one.read == other.read


def test_plain_rows_are_read_as_the_tolerant_reader_does():
    text = with_row(ROW.format(30))
    part = plain(text)
    rows = rows_of(text)
    assert part is not None
    assert_same(part, rows.read(text[rows.dialect.body_at :], rows.dialect.first_line))
    assert part.values[0].tolist() == [61.5] * 21


@pytest.mark.parametrize(
    "row",
    [
        "2025-06-01T12:30:00Z;-0.5;well;2",
        "2025-06-01T12:30:00Z;;;",
        "2025-06-01T12:30:00Z;---;;NaN",
        "2025-06-01T12:30:00Z;-;;n/a",
        "2025-06-01T12:30:00Z;123456789012345;well;0.00000000000001",
        "\n2025-06-01T12:30:00Z;1;well;2\n\n",
        "\r\n2025-06-01T12:30:00Z;1;well;2\r\n",
        "2024-02-29T00:00:00Z;1;well;2",
        "2000-02-29T23:59:59Z;1;well;2",
        "0001-01-01T00:00:00Z;1;well;2",
    ],
)
def test_what_is_still_plain(row):
    text = with_row(row)
    rows = rows_of(text)
    part = plain(text)
    assert part is not None
    assert_same(part, rows.read(text[rows.dialect.body_at :], rows.dialect.first_line))


@pytest.mark.parametrize(
    "row",
    [
        "2025-06-01T12:30:00Z;1e3;well;2",
        "2025-06-01T12:30:00Z; 1;well;2",
        "2025-06-01T12:30:00Z;+1;well;2",
        "2025-06-01T12:30:00Z;1.;well;2",
        "2025-06-01T12:30:00Z;.5;well;2",
        "2025-06-01T12:30:00Z;1,5;well;2",
        "2025-06-01T12:30:00Z;1.5.5;well;2",
        "2025-06-01T12:30:00Z;--1;well;2",
        "2025-06-01T12:30:00Z;----;well;2",
        "2025-06-01T12:30:00Z;inf;well;2",
        "2025-06-01T12:30:00Z;60 C;well;2",
        "2025-06-01T12:30:00Z;1234567890123456;well;2",
        "2025-06-01T12:30:00Z;0.1234567890123456;well;2",
        '2025-06-01T12:30:00Z;1;"a;b";2',
        '2025-06-01T12:30:00Z;1;a";2',
        '2025-06-01T12:30:00Z;"1";well;2',
        "2025-06-01T12:30:00Z;1;well",
        "2025-06-01T12:30:00Z;1;well;2;3",
        "2025-06-01T12:30:00Z;1;we\rll;2",
        "2025-06-01T12:30:00Z;1;well;2\r",
        "2025-06-01T12:30:00+01:00;1;well;2",
        "2025-06-01 12:30:00Z;1;well;2",
        "2025-06-01T12:30Z;1;well;2",
        "2025-06-01T12:30:00.5Z;1;well;2",
        "2025-02-29T12:30:00Z;1;well;2",
        "1900-02-29T12:30:00Z;1;well;2",
        "2025-04-31T12:30:00Z;1;well;2",
        "2025-13-01T12:30:00Z;1;well;2",
        "2025-00-01T12:30:00Z;1;well;2",
        "2025-06-00T12:30:00Z;1;well;2",
        "0000-06-01T12:30:00Z;1;well;2",
        "2025-06-01T24:00:00Z;1;well;2",
        "2025-06-01T12:60:00Z;1;well;2",
        "2025-06-01T12:30:60Z;1;well;2",
        "2025-06-O1T12:30:00Z;1;well;2",
        "2025-06-01T12:3",
        "# a remark",
        "time;t_collector_c;note;flow_l_min",
    ],
)
def test_whatever_is_not_plain_is_declined(row):
    assert plain(with_row(ROW.format(30))) is not None
    assert plain(with_row(row)) is None


@pytest.mark.parametrize(
    ("first", "what"),
    [
        ("2025-06-01T12:01:00Z;on;2", "a word for on"),
        ("1748779260;61.5;2", "counted seconds"),
    ],
)
def test_files_of_other_columns_have_no_plain_reader(first, what):
    text = f"time;pump;flow_l_min\n{first}\n".encode()
    rows = rows_of(text)
    columns = tuple(replace(one, words=what == "a word for on") for one in rows.layout.columns)
    rows = replace(rows, layout=replace(rows.layout, columns=columns))
    assert plain_reader(rows) is None


NUMBERS = st.decimals(
    min_value=-(10**9), max_value=10**9, allow_nan=False, allow_infinity=False, places=5
).map(lambda number: f"{number:f}")


@given(st.lists(NUMBERS, min_size=1, max_size=40))
@settings(max_examples=60, deadline=None)
def test_numbers_are_the_nearest_floats_to_what_is_written(texts):
    body = "".join(f"2025-06-01T12:01:00Z;{text};;1\n" for text in texts).encode()
    stamp = rows_of(with_row(ROW.format(30))).layout.stamp.formats[0]
    reader = PlainReader(
        delimiter=";", decimal=".", holds=np.array([-1, 0, -2, 1]), stamp=0, format=stamp
    )
    part = reader.read(np.frombuffer(body, dtype=np.uint8), first_line=2, most=len(texts))
    assert part is not None
    assert part.values[0].tolist() == [float(text) for text in texts]


STYLES = {
    "%Y-%m-%dT%H:%M:%SZ": "Z",
    "%Y-%m-%d %H:%M": "",
    "%d.%m.%Y %H:%M:%S": "",
    "%d.%m.%y %H:%M": "",
    "%Y/%m/%d %H:%M": "",
    "%Y-%m-%dT%H:%M:%S+0130": "",
    "%Y%m%d %H%M": "",
}


@pytest.mark.parametrize("style", STYLES)
@pytest.mark.parametrize(("delimiter", "decimal"), [(";", ","), (",", "."), ("\t", ".")])
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_a_file_is_read_alike_with_and_without_the_plain_reader(
    style, delimiter, decimal, line_end, monkeypatch
):
    rng = np.random.default_rng(7)
    start = np.datetime64("2023-12-28T00:07:00").astype("datetime64[s]")
    lines = [delimiter.join(["time", "t_collector_c", "note", "flow_l_min"])]
    for n in range(2000):
        moment = (start + np.timedelta64(int(n * 2471), "s")).item()
        values = [f"{value:.{n % 4}f}".replace(".", decimal) for value in rng.normal(20, 40, 2)]
        if n % 7 == 0:
            values[n % 2] = ""
        lines.append(delimiter.join([moment.strftime(style), values[0], "x", values[1]]))
    text = line_end.join([*lines, ""]).encode()
    rows = rows_of(text, decimal=decimal)
    if len(rows.layout.stamp.formats) > 1:
        layout = rows.layout.written((rows.layout.stamp.formats[0],))
        rows = replace(rows, layout=layout)
    taken = []
    read = PlainReader.read

    def seen(self, block, **about):
        taken.append(read(self, block, **about))
        return taken[-1]

    monkeypatch.setattr(PlainReader, "read", seen)
    without = BlockReader(rows=rows).read(text)
    assert not taken
    monkeypatch.setattr("analysis.logs.blocks._ALONE", 0)
    with_it = BlockReader(rows=rows).read(text)
    assert taken
    assert None not in taken
    assert_same(with_it, without)
    for mine, theirs in zip(with_it.values, without.values, strict=True):
        assert with_it.bounds[id(mine)].ends == without.bounds[id(theirs)].ends


def test_a_comma_between_cells_is_none_within_numbers():
    text = b"time,t_collector_c,flow_l_min\n" + b'2025-06-01T12:01:00Z,"61,5","2,25"\n' * 20
    dialect = find_dialect("x", text, LogMap(decimal=",", delimiter=","))
    rows = replace(rows_of(text, decimal=","), dialect=dialect)
    assert dialect.delimiter == dialect.decimal
    assert plain_reader(rows) is None


def test_a_year_that_is_written_twice_is_read_by_others():
    told = LogMap(time_format="%d.%m.%Y %H:%M (%y)", delimiter=";", decimal=".")
    text = b"time;t_collector_c;flow_l_min\n" + b"01.06.2025 12:01 (25);61.5;2.25\n" * 20
    dialect = find_dialect("x", text, told)
    layout = find_layout("x", dialect, told)
    rows = RowReader(file="x", dialect=dialect, layout=layout, problems=ProblemList())
    reader = plain_reader(rows)
    assert reader is not None
    body = np.frombuffer(text[dialect.body_at :], dtype=np.uint8)
    assert reader.read(body, first_line=2, most=20) is None


def test_empty_lines_claim_no_room():
    places = ("collector", "store_bottom", "store_middle", "store_top")
    heads = [f"t_{place}_{n}_c" for place in places for n in range(2, 10)]
    row = ";".join(["2025-06-01T12:01:00Z", *(["61.5"] * len(heads))])
    head = ";".join(["time", *heads])
    text = "\n".join([head, *([row] * 20), "\n" * 1_000_000]).encode()
    tracemalloc.start()
    part = plain(text)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert part is not None
    assert (part.read, len(part.values)) == (20, 32)
    assert most < 100e6
