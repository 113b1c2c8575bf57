"""A day of several files: what a corrected log replaces, and what only adds. Invented values."""

from itertools import permutations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.blocks import Block
from analysis.layers import Layer, fold
from service.ingest.blocks import encode

NAN = float("nan")


def block(stamps, **columns):
    return Block(
        stamp_s=np.array(stamps, dtype=np.int64),
        columns={name: np.array(values, dtype=np.float64) for name, values in columns.items()},
    )


def minutes(first, last, value=20.0, name="collector", *, shift=0):
    stamps = np.arange(first, last) * 60 + shift
    return block(stamps, **{name: value + np.arange(first, last) / 100})


def folded(*blocks, pushed=()):
    return fold(
        [
            Layer(number=number, block=one, pushed=number in pushed)
            for number, one in enumerate(blocks, start=1)
        ]
    )


def as_rows(one):
    return {
        int(stamp): {name: float(v[at]) for name, v in one.columns.items() if v[at] == v[at]}
        for at, stamp in enumerate(one.stamp_s)
    }


def test_equal_rows_count_once_and_replace_nothing():
    whole = minutes(0, 600)
    found = folded(whole, minutes(300, 900))
    assert as_rows(found.block) == as_rows(minutes(0, 900))
    assert found.replaced == {1: {}, 2: {}}


def test_a_corrected_log_replaces_the_span_it_covers_and_only_its_columns():
    old = block([0, 60, 120, 180], collector=[1.0, 2.0, 3.0, 4.0], flow=[5.0, 5.0, 5.0, 5.0])
    new = block([60, 120], collector=[2.5, NAN])
    found = folded(old, new)
    assert as_rows(found.block) == {
        0: {"collector": 1.0, "flow": 5.0},
        60: {"collector": 2.5, "flow": 5.0},
        120: {"flow": 5.0},  # the corrected log has the row and no value
        180: {"collector": 4.0, "flow": 5.0},
    }
    assert found.replaced == {1: {2: 2}, 2: {}}


def test_a_clock_that_was_put_right_leaves_no_rows_between():
    found = folded(minutes(0, 600), minutes(100, 200, shift=20))
    rows = as_rows(found.block)
    assert all(stamp % 60 == 20 for stamp in rows if 6000 <= stamp <= 200 * 60)
    # 100 rows came, and of the old ones 101 stand within less than a step of one of them.
    assert len(rows) == 599
    assert found.replaced[1] == {2: 101}


def test_gaps_of_a_later_file_are_filled_by_the_earlier_one():
    later = minutes(0, 600)
    keep = (later.stamp_s < 6000) | (later.stamp_s > 12000)
    gapped = block(later.stamp_s[keep], collector=later.columns["collector"][keep] + 5.0)
    rows = as_rows(folded(minutes(0, 600), gapped).block)
    assert len(rows) == 600
    assert rows[9000] == {"collector": 20.0 + 1.5}
    assert rows[3000] == {"collector": 25.0 + 0.5}


def test_a_coarse_log_that_agrees_does_not_thin_a_fine_one():
    fine = minutes(0, 600)
    hourly = block(fine.stamp_s[::60], collector=fine.columns["collector"][::60])
    assert len(folded(fine, hourly).block) == 600
    assert len(folded(hourly, fine).block) == 600


def test_two_loggers_of_different_sensors_never_replace_each_other():
    found = folded(minutes(0, 60), minutes(0, 60, 3.0, "flow", shift=30))
    assert len(found.block) == 120
    assert found.replaced == {1: {}, 2: {}}


def test_an_empty_column_says_nothing():
    old = block([0, 60], collector=[1.0, 2.0], flow=[3.0, 3.0])
    new = block([0, 60], collector=[9.0, 9.0], flow=[NAN, NAN])
    assert as_rows(folded(old, new).block)[0] == {"collector": 9.0, "flow": 3.0}


def test_digits_that_an_export_rounds_away_are_no_correction():
    old = block([0, 60, 120], collector=[1.0004, 2.0, 3.0], flow=[1.0, 1.0, 1.0])
    new = block([0, 120], collector=[1.0, 3.0], flow=[NAN, 1.0])
    assert as_rows(folded(old, new).block)[0]["flow"] == 1.0


def test_pushed_rows_come_in_pieces_and_replace_single_values_only():
    old = minutes(0, 100)
    piece = block([600, 630], collector=[99.0, 98.0])
    rows = as_rows(folded(old, piece, pushed={2}).block)
    assert rows[600] == {"collector": 99.0}
    assert len(rows) == 101


def test_a_layer_taken_away_leaves_the_bytes_that_were_there():
    below = [minutes(0, 600), minutes(200, 400, 30.0)]
    before = encode(folded(*below).block)
    folded(*below, minutes(100, 500, 50.0, shift=7))
    assert encode(folded(*below).block) == before


rows = st.lists(
    st.tuples(st.integers(0, 40), st.sampled_from([1.0, 2.0, NAN]), st.sampled_from([0.0, NAN])),
    min_size=1,
    max_size=12,
    unique_by=lambda row: row[0],
).map(sorted)


@settings(deadline=None)
@given(st.lists(rows, min_size=2, max_size=4))
def test_the_order_of_reading_does_not_matter(files):
    layers = [
        Layer(
            number=number,
            block=block([60 * r[0] for r in one], collector=[r[1] for r in one],
                        flow=[r[2] for r in one]),
        )
        for number, one in enumerate(files, start=1)
    ]  # fmt: skip
    results = {encode(fold(list(order)).block) for order in permutations(layers)}
    assert len(results) == 1


@settings(deadline=None)
@given(rows, rows)
def test_what_a_later_file_says_is_in_force_and_nothing_is_invented(old, new):
    below, above = (
        block([60 * r[0] for r in one], collector=[r[1] for r in one]) for one in (old, new)
    )
    found = as_rows(folded(below, above).block)
    for stamp, said in as_rows(above).items():
        assert found[stamp].get("collector", None) == said.get(
            "collector", found[stamp].get("collector")
        )
    sources = [as_rows(below), as_rows(above)]
    for stamp, said in found.items():
        assert any(
            said.items() <= source.get(stamp, {"none": 0.0}).items()
            for source in sources
            if stamp in source
        )
