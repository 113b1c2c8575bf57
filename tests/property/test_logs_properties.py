"""Whatever the bytes: a parsed log or one plain refusal, nothing else."""

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.errors import LogError, SiteFileError
from analysis.logs.archives import unpack
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource, ParsedLog
from analysis.site import LogMap
from analysis.sitefile import parse_map, parse_site
from analysis.sitefile_write import site_to_toml

TEXT = (Path(__file__).parents[2] / "fixtures/sites/mill-lane-4.toml").read_text("utf-8")
SITE = replace(parse_site(TEXT), log=LogMap())
NOW_S = 1_800_000_000
FEW = settings(max_examples=60, deadline=None)

TIDY = b"time,t_collector_c,flow_l_min,pump_percent\n" + b"".join(
    b"2025-06-01T%02d:%02d:00Z,%d.5,2.0,1\n" % (n // 60, n % 60, 30 + n % 7) for n in range(200)
)
PIECES = st.sampled_from(
    [
        ",",
        ";",
        "\n",
        "\r\n",
        "\t",
        " ",
        "|",
        '"',
        "#",
        "-",
        "\x00",
        "é",
        "\ufeff",
        "2025-06-01T00:00:00Z",
        "2025-06-01 00:05",
        "01.06.2025 00:10",
        "03/04/2025 10:00",
        "24:00",
        "2025-10-26 01:30",
        "1718000000",
        "time",
        "flow_l_min",
        "t_collector_c",
        "pump_percent",
        "1.5",
        "1,5",
        "on",
        "off",
        "err",
        "nan",
        "inf",
        "1e999",
        "99999999999999999999",
    ]
)


def read(data: bytes) -> ParsedLog | None:
    """Read, and hold the result against its promises; None where it was refused."""
    try:
        log = read_logs([LogSource(name="x", data=data)], site=SITE, now_s=NOW_S)
    except LogError:
        return None
    rows = log.rows
    assert rows.read == rows.kept + rows.duplicate + rows.rejected
    assert rows.kept == len(log.stamp_s) > 0
    assert (np.diff(log.stamp_s) > 0).all()
    assert log.stamp_s.max() <= NOW_S + 86_400
    assert all(len(values) == rows.kept for values in log.columns.values())
    assert not any(np.isinf(values).any() for values in log.columns.values())
    assert len(log.rejected) <= log.problems
    assert log.problems >= rows.rejected
    return log


@FEW
@given(st.binary(max_size=1500))
def test_any_bytes_are_read_or_refused(data):
    read(data)


@FEW
@given(st.lists(PIECES, max_size=120))
def test_any_heap_of_log_pieces_is_read_or_refused(pieces):
    read("".join(pieces).encode())


@FEW
@given(
    st.lists(
        st.tuples(st.integers(0, len(TIDY)), st.binary(max_size=6), st.integers(0, 40)), max_size=6
    )
)
def test_a_damaged_log_is_read_or_refused(damages):
    data = TIDY
    for at, new, cut in damages:
        data = data[:at] + new + data[at + cut :]
    read(data)


@FEW
@given(st.binary(max_size=200), st.sampled_from([b"PK\x03\x04", b"PK\x05\x06", b"\x1f\x8b\x08"]))
def test_any_archive_is_unpacked_or_refused(data, magic):
    try:
        members = unpack("x", magic + data, limit_bytes=10_000)
    except LogError:
        return
    assert sum(len(member.data) for member in members) <= 10_000


@FEW
@given(
    st.lists(
        st.tuples(
            st.integers(0, len(TEXT)),
            st.text(alphabet="[]{}\"'=.,#\n 0129azé\\-", max_size=6),
            st.integers(0, 30),
        ),
        max_size=3,
    )
)
def test_a_damaged_site_file_is_read_or_refused(damages):
    text = TEXT
    for at, new, cut in damages:
        text = text[:at] + new + text[at + cut :]
    try:
        site = parse_site(text)
    except SiteFileError:
        return
    assert parse_site(site_to_toml(site)) == site


@FEW
@given(
    st.floats(-89, 89),
    st.floats(0.05, 1000),
    st.text(min_size=1).filter(lambda name: bool(name.strip())),
    st.dictionaries(st.text(), st.just("{ channel = 'flow', unit = 'l/h' }"), max_size=1),
)
def test_a_written_site_file_reads_back_the_same(latitude, area, name, columns):
    site = replace(
        SITE,
        place=replace(SITE.place, latitude_deg=latitude, name=name),
        arrays=(replace(SITE.arrays[0], area_m2=area),),
        log=parse_map("[log]\n[log.columns]\n'S1' = { channel = 'collector' }"),
    )
    for head in columns:
        ((_, meaning),) = site.log.columns
        site = replace(site, log=LogMap(columns=((head, meaning),)))
    assert parse_site(site_to_toml(site)) == site


CELL = st.one_of(st.none(), st.floats(-40, 140).map(lambda value: round(value, 3)))


@FEW
@given(
    st.lists(st.tuples(st.integers(0, 5_000), CELL, CELL), min_size=1, max_size=80),
    st.sampled_from([",", ";", "\t", "|"]),
    st.randoms(use_true_random=False),
)
def test_what_is_written_is_read_in_any_dialect_and_order(rows, delimiter, random):
    start = datetime(2025, 6, 1, tzinfo=UTC)
    unique = {minute: (first, second) for minute, first, second in rows}
    lines = [
        delimiter.join(
            [f"{start + timedelta(minutes=minute):%Y-%m-%dT%H:%M:%SZ}"]
            + ["" if cell is None else str(cell) for cell in cells]
        )
        for minute, cells in unique.items()
    ]
    random.shuffle(lines)
    head = delimiter.join(["time", "t_store_top_c", "t_collector_c"])
    log = read("\n".join([head, *lines]).encode())
    assert log is not None
    minutes = sorted(unique)
    assert log.stamp_s.tolist() == [int(start.timestamp()) + 60 * one for one in minutes]
    for place, name in enumerate(("store_top", "collector")):
        wanted = [unique[one][place] for one in minutes]
        np.testing.assert_array_equal(
            log.columns[name], [math.nan if cell is None else cell for cell in wanted]
        )


@FEW
@given(st.integers(0, 200), st.integers(0, 200), st.integers(1, 5))
def test_cutting_a_log_in_overlapping_files_changes_nothing(first, second, repeat):
    head, *lines = TIDY.decode().strip().split("\n")
    cut, again = sorted((first, second))
    parts = [lines[:again], lines[cut:]] * repeat
    files = [
        LogSource(name=str(n), data="\n".join([head, *part]).encode())
        for n, part in enumerate(parts)
        if part
    ]
    whole = read(TIDY)
    log = read_logs(files, site=SITE)
    assert whole is not None
    np.testing.assert_array_equal(log.stamp_s, whole.stamp_s)
    for name, values in whole.columns.items():
        np.testing.assert_array_equal(log.columns[name], values)
    assert log.rows.duplicate == sum(len(part) for part in parts) - 200
