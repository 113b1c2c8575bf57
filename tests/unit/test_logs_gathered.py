"""The parts of a file, laid as they come, make one."""

import numpy as np
import pytest

from analysis.logs import blocks
from analysis.logs.bounds import Bounds, Ends, ends_of, known_of
from analysis.logs.gathered import Gathered
from analysis.logs.reading import read_logs
from analysis.logs.rows import Part
from analysis.logs.shapes import LogSource


def part(first: int, rows: int, *, read: int | None = None) -> Part:
    numbers = np.arange(first, first + rows)
    return Part(
        stamp_s=60 * numbers,
        values=(1.0 * numbers, 0.5 * numbers),
        lines=(numbers + 2).astype(np.int32),
        read=rows if read is None else read,
    )


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 0, 1), (1, 2, 0)])
def test_blocks_come_in_any_order_and_need_not_fill_their_room(order):
    parts = ([part(0, 3), part(3, 2)], [], [part(5, 4, read=6)])
    whole = Gathered([8, 5, 4], columns=2)
    for block in order:
        whole.lay(block, parts[block])
    got = whole.part()
    want = part(0, 9, read=11)
    np.testing.assert_array_equal(got.stamp_s, want.stamp_s)
    np.testing.assert_array_equal(got.lines, want.lines)
    np.testing.assert_array_equal(got.values, want.values)
    assert got.read == want.read


def test_a_file_without_a_row_gives_a_part_without_one():
    got = Gathered([], columns=3).part()
    assert got.stamp_s.shape == got.lines.shape == (0,)
    assert [values.shape for values in got.values] == [(0,)] * 3


def test_lines_are_told_rightly_whatever_the_blocks(monkeypatch):
    rows = [f"2025-06-01T{n // 60:02d}:{n % 60:02d}:00Z,{20 + n % 7}.5,{n % 3}" for n in range(900)]
    rows[300] = "2025-06-01T05:00:00Z,err,1"
    rows[500] = ""
    rows[800] = "2025-06-01T13:20:00Z,21"
    # What the first rows give no sign of: a word for missing, a quote.
    rows[600] = "2025-06-01T10:00:00Z,---,1"
    rows[700] = '2025-06-01T11:40:00Z,"31.5",1'
    data = ("time,t_collector_c,flow_l_min\n" + "\n".join(rows) + "\n").encode()
    read = []
    for size in (blocks._BLOCK, 16_000, 6000, 1000):
        monkeypatch.setattr(blocks, "_ALONE", size)
        monkeypatch.setattr(blocks, "_BLOCK", size)
        read.append(read_logs([LogSource(name="a.csv", data=data)], site=None))
    assert [(one.line, one.column) for one in read[0].rejected] == [
        (302, "t_collector_c"),
        (802, None),
    ]
    assert np.isnan(read[0].columns["collector"][read[0].stamp_s % 86_400 == 36_000]).all()
    assert read[0].columns["collector"][read[0].stamp_s % 86_400 == 42_000].tolist() == [31.5]
    for other in read[1:]:
        assert other.rejected == read[0].rejected
        assert other.rows == read[0].rows
        np.testing.assert_array_equal(other.stamp_s, read[0].stamp_s)
        for name, values in read[0].columns.items():
            np.testing.assert_array_equal(other.columns[name], values)


@pytest.mark.parametrize("gone", [None, 3, 12])
def test_the_bounds_of_a_whole_are_those_of_its_values(gone):
    parts = [part(0, 8), part(8, 0), part(8, 7)]
    if gone is not None:
        for one in parts:
            one.values[0][one.lines == gone + 2] = np.nan
    whole = Gathered([8, 0, 7], columns=2)
    for block, one in enumerate(parts):
        whole.lay(block, [one])
    got = whole.part()
    for values in got.values:
        assert got.bounds[id(values)].values is values
        assert ends_of(values, got.bounds) == ends_of(values)
        assert ends_of(values).whole == bool(np.isfinite(values).all())


def test_bounds_are_those_of_one_array_alone():
    values = np.array([3.0, np.nan, 1.0])
    known = known_of([Bounds(values=values, ends=Ends(-5.0, 5.0, whole=True))])
    assert ends_of(values, known) == (-5.0, 5.0, True)
    assert ends_of(values.copy(), known) == (1.0, 3.0, False)
    lowest, highest, _ = ends_of(np.array([np.nan]))
    assert np.isnan([lowest, highest]).all()
    assert ends_of(np.array([1.0, np.inf])) == (1.0, np.inf, False)
