"""Whatever the bytes, also those that look like a log: a parsed log or one plain refusal."""

import gzip
import io
import zipfile

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.fuzz.target import read_any, read_files

FEW = settings(max_examples=50, deadline=None)
# Pieces that the reader looks for, so that chance meets its rules.
PIECES = (
    ",", ";", "\t", "|", " ", "  ", "\n", "\r\n", "\r", '"', '""', "#", "//", "%", "sep=;",
    "time", "Zeit", "Datum", "Uhrzeit", "Date", "Time (UTC)", "name", "value", "unit", "T1 [°C]",
    "°C", "l/h", "%", "W/m²", "Collector [C]", "t_collector_c", "flow_l_min", "pump_percent",
    "2025-06-01T12:00:00Z", "2025-06-01 12:00", "01.06.2025", "01.06.25 12:05", "03/04/2025",
    "13/04/25", "12:10", "02:15 PM", "2:15 a.m.", "1. Jan 2025 10:00", "Mon 02/06/2025 10:00",
    "2025-10-26 02:30", "2025-03-30 02:30", "01.01.2010 00:00", "2025-06-01 12:00 CEST",
    "20250601120000", "20250601", "1748779260", "1748779320000", "45809.58333", "45809,5840278",
    "1.5", "1,5", "1.234", "1,234", "1.234,5", "1 234,5", "1'234.5", "60,5 °C", "1,2 kW", "950 W",
    "-999", "850", "on", "aus", "err", "nan", "inf", "1e999", "\u2212" "5,2", "\u00a0", "\x00",
    "\ufeff", "é", "Summe", "End of export", "9" * 30,
)  # fmt: skip
LINES = st.lists(st.lists(st.sampled_from(PIECES), max_size=6).map("".join), max_size=12)


@FEW
@given(st.lists(st.sampled_from(PIECES), max_size=150))
def test_any_heap_of_pieces(pieces):
    read_any("".join(pieces).encode())


@FEW
@given(
    st.sampled_from([";", ",", "\t", "|", " "]),
    st.lists(st.lists(st.sampled_from(PIECES), min_size=2, max_size=5), min_size=2, max_size=30),
    st.sampled_from(["utf-8", "utf-16", "cp1252", "utf-16-be", "latin-1"]),
)
def test_any_table_of_pieces_in_any_encoding(delimiter, rows, encoding):
    text = "\n".join(delimiter.join(row) for row in rows)
    read_any(text.encode(encoding, errors="replace"))


@FEW
@given(
    st.lists(st.sampled_from(PIECES), min_size=2, max_size=4),
    st.lists(st.sampled_from(PIECES), min_size=1, max_size=3),
    st.integers(1, 400),
    LINES,
)
def test_a_long_regular_table_with_rubbish_in_it(heads, cells, count, rubbish):
    rows = [
        f"{n % 28 + 1:02d}.{n // 28 % 12 + 1:02d}.2025 {n % 24:02d}:00;{';'.join(cells)}"
        for n in range(count)
    ]
    middle = len(rows) // 2
    lines = [";".join(["time", *heads]), *rows[:middle], *rubbish, *rows[middle:]]
    read_any("\n".join(lines).encode())


@FEW
@given(st.lists(LINES, min_size=1, max_size=4))
def test_any_files_together(files):
    read_files(*("\n".join(lines).encode() for lines in files))


@FEW
@given(st.lists(st.tuples(st.sampled_from(PIECES), LINES), max_size=4), st.booleans())
def test_any_archive_of_pieces(members, zipped):
    plain = "\n".join("\n".join(lines) for _, lines in members).encode()
    if not zipped:
        read_any(gzip.compress(plain))
        return
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w") as archive:
        for n, (name, lines) in enumerate(members):
            archive.writestr(f"a/{n}{name.strip(chr(0))}.csv", "\n".join(lines))
    read_any(sink.getvalue())
