"""Files with thousands of columns are read, in work that grows with their size and no faster."""

import sys

from analysis.logs.headers import Headers
from analysis.logs.preview import preview
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource
from analysis.site import LogMap
from tests.unit.test_logs_reading import SITE


def wide(columns: int, head: str) -> LogSource:
    """Write a log of two rows with so many columns of numbers."""
    heads = ",".join(head.format(place) for place in range(columns))
    cells = ",".join(f"{place % 90}.5" for place in range(columns))
    rows = "".join(f"2024-05-01 12:{minute:02d},{cells}\n" for minute in (0, 5))
    return LogSource(name="wide.csv", data=f"time,{heads}\n{rows}".encode())


def calls_of(columns: int, head: str) -> int:
    """Count the calls, of Python and of C, that a look at such a log takes."""
    source, count = wide(columns, head), 0

    def seen(_frame: object, event: str, _what: object) -> None:
        nonlocal count
        count += event in ("call", "c_call")

    sys.setprofile(seen)
    try:
        found = preview([source], site=SITE, log_map=LogMap(), now_s=1_800_000_000)
    finally:
        sys.setprofile(None)
    assert found.problem is None
    assert found.parsed is not None
    assert len(found.parsed.open_columns) == columns
    return count


def test_work_grows_with_the_columns_and_no_faster():
    calls_of(50, "T")  # tables that are made once
    few, some, many = (calls_of(columns, "T") for columns in (500, 1000, 2000))
    # Twice the columns more, twice the calls more; four times were the square of them.
    assert (many - some) / (some - few) < 2.5


class Compared(str):
    """A head that counts how often it is held against another."""

    count = 0
    __hash__ = str.__hash__

    def __eq__(self, other: object) -> bool:
        Compared.count += 1
        return str.__eq__(self, other)


def test_heads_are_compared_once_and_not_each_with_each():
    names = tuple(Compared(f"T{place // 2}") for place in range(2000))
    Compared.count = 0
    headers = Headers(names=names, units=("",) * 2000, lines=(1,))
    assert all(name in headers.shared for name in names)
    assert Compared.count <= 3 * 2000


def test_four_thousand_columns_are_read():
    # The header alone is longer than the head of a usual file.
    read = read_logs([wide(4000, "temperature {}")], site=SITE, keep_open=True)
    assert len(read.open_columns) == 4000
    assert read.rows.kept == 2
