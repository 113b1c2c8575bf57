"""Day blocks: cutting, merging, bytes, and the hash that knows equal values."""

import hashlib
from datetime import date, timedelta

import numpy as np
import pyarrow as pa
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.blocks import Block, join, merge, split_days
from service.ingest.blocks import (
    Sealed,
    change,
    channels_in,
    decode,
    decode_days,
    encode,
    seal,
    seal_days,
    values_hash,
)

NAN = float("nan")
DAY = 86_400


def a_block(stamps: list[int], **columns: list[float]) -> Block:
    return Block(
        stamp_s=np.array(stamps, dtype=np.int64),
        columns={name: np.array(values, dtype=np.float64) for name, values in columns.items()},
    )


def a_day(seed: int = 1, *, rows: int = 144) -> Block:
    values = np.random.default_rng(seed).normal(60.0, 5.0, rows)
    return Block(
        stamp_s=np.arange(rows, dtype=np.int64) * 600 + 20_000 * DAY, columns={"collector": values}
    )


def same(one: Block, two: Block) -> bool:
    return (
        np.array_equal(one.stamp_s, two.stamp_s)
        and set(one.columns) == set(two.columns)
        and all(np.array_equal(one.columns[n], two.columns[n], equal_nan=True) for n in one.columns)
    )


def test_rows_are_cut_at_utc_midnight_and_join_again() -> None:
    rows = a_block([DAY - 1, DAY, 3 * DAY], flow=[1.0, 2.0, NAN])
    days = split_days(rows)
    assert list(days) == [date(1970, 1, 1), date(1970, 1, 2), date(1970, 1, 4)]
    joined = join(days.values())
    assert joined is not None
    assert same(joined, rows)


def test_later_value_wins_and_an_empty_one_takes_nothing_away() -> None:
    old = a_block([0, 60, 120], flow=[1.0, 2.0, NAN], pump=[100.0, 100.0, 0.0])
    new = a_block([60, 120, 180], flow=[NAN, 5.0, 6.0])
    merged = merge(old, new)
    assert same(
        merged,
        a_block([0, 60, 120, 180], flow=[1.0, 2.0, 5.0, 6.0], pump=[100.0, 100.0, 0.0, NAN]),
    )
    told = change(old, merged)
    assert (told.new, told.changed, told.gone, told.columns) == (1, 1, 0, False)
    assert told.touched_s.tolist() == [120, 180]
    back = change(merged, old)
    assert (back.new, back.changed, back.gone) == (0, 1, 1)
    assert change(old, None).gone == 3
    assert change(None, old).new == 3


def test_the_same_rows_again_change_nothing() -> None:
    day = a_day()
    merged = merge(day, day)
    told = change(day, merged)
    assert (told.new, told.changed, told.gone, told.touched_s.shape[0]) == (0, 0, 0, 0)
    assert same(merged, day)


floats = st.floats(allow_infinity=False, width=64) | st.just(NAN)
blocks = st.lists(st.tuples(st.integers(0, 10**10), floats), min_size=1, unique_by=lambda r: r[0])


@settings(deadline=None)  # the first call loads the codec
@given(blocks, blocks)
def test_bytes_give_the_block_back_and_merging_is_a_union(
    one: list[tuple[int, float]], two: list[tuple[int, float]]
) -> None:
    first = a_block([s for s, _ in sorted(one)], flow=[v for _, v in sorted(one)])
    second = a_block([s for s, _ in sorted(two)], flow=[v for _, v in sorted(two)])
    assert same(decode(encode(first)), first)
    merged = merge(first, second)
    assert merged.stamp_s.tolist() == sorted({s for s, _ in [*one, *two]})
    assert same(merge(merged, second), merged)


def test_few_decimals_take_little_room_and_come_back_to_the_last_bit() -> None:
    day = a_day(rows=1440)
    tenths = np.round(day.columns["collector"], 1)
    short = Block(stamp_s=day.stamp_s, columns={"collector": tenths, "flow": tenths * 1000.0})
    short.columns["flow"][7] = NAN
    assert same(decode(encode(short)), short)
    assert len(encode(short)) < 6 * len(short)
    assert len(encode(day)) > 6 * len(day)  # noise to the last digit stays as it is


def test_a_block_of_an_older_version_is_read() -> None:
    day = a_day()
    batch = pa.RecordBatch.from_pydict({"stamp_s": day.stamp_s, "flow": day.columns["collector"]})
    sink = pa.BufferOutputStream()
    options = pa.ipc.IpcWriteOptions(compression="zstd")
    with pa.ipc.new_stream(sink, batch.schema, options=options) as writer:
        writer.write_batch(batch)
    data = sink.getvalue().to_pybytes()
    assert same(
        decode(data), Block(stamp_s=day.stamp_s, columns={"flow": batch["flow"].to_numpy()})
    )
    assert channels_in(data) == channels_in(encode(decode(data))) == ("flow",)


def test_equal_values_have_equal_hashes_whatever_the_last_digits_say() -> None:
    day = a_day()
    nudged = Block(stamp_s=day.stamp_s, columns={"collector": day.columns["collector"] + 1e-9})
    assert values_hash(day) is not None
    assert values_hash(nudged) == values_hash(day)
    assert values_hash(a_day(seed=2)) != values_hash(day)


def test_a_quiet_day_proves_nothing() -> None:
    assert values_hash(a_block([0, 60], flow=[0.0, 0.0])) is None
    assert values_hash(a_block([0, 60], flow=[NAN, NAN])) is None


def test_a_column_of_nothing_does_not_change_the_hash() -> None:
    day = a_day()
    wider = Block(stamp_s=day.stamp_s, columns={**day.columns, "flow": np.full(len(day), NAN)})
    assert values_hash(wider) == values_hash(day)


def arrow_of(day: Block) -> bytes:
    """Give a block as the version before wrote it: whole tenths in a zstd frame."""
    steps = np.diff(day.stamp_s, prepend=0)
    tenths = np.rint(day.columns["collector"] * 10.0).astype(np.int16)
    fields = [
        pa.field("steps_s", pa.int64()),
        pa.field("flow", pa.int16(), metadata={"per_unit": "10"}),
    ]
    batch = pa.RecordBatch.from_arrays(
        [pa.array(steps), pa.array(tenths, mask=np.arange(len(tenths)) == 3)],
        schema=pa.schema(fields),
    )
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, batch.schema) as writer:
        writer.write_batch(batch)
    return bytes(pa.compress(sink.getvalue(), codec="zstd", asbytes=True))


def test_a_block_of_the_version_before_is_read() -> None:
    day = a_day()
    flow = np.round(day.columns["collector"], 1)
    flow[3] = NAN
    data = arrow_of(day)
    assert same(decode(data), Block(stamp_s=day.stamp_s, columns={"flow": flow}))
    assert channels_in(data) == ("flow",)


numbers = st.integers(-(10**12), 10**12)
decimals = st.integers(0, 4)
columns = st.tuples(decimals, st.lists(numbers | st.just(NAN), min_size=1, max_size=300))


@settings(deadline=None)
@given(st.lists(columns, min_size=1, max_size=4), st.integers(-(2**40), 2**40))
def test_columns_of_every_width_come_back_to_the_last_bit(
    drawn: list[tuple[int, list[float]]], first: int
) -> None:
    rows = min(len(values) for _, values in drawn)
    block = Block(
        stamp_s=first + np.arange(rows, dtype=np.int64) * 60,
        columns={
            f"c{place}": np.array(values[:rows], dtype=np.float64) / 10.0**places
            for place, (places, values) in enumerate(drawn)
        },
    )
    back = decode(encode(block))
    assert same(back, block)
    assert encode(back) == encode(block)
    assert channels_in(encode(block)) == tuple(sorted(block.columns))
    assert seal(block) == Sealed(rows=rows, data=encode(block), values_hash=values_hash(block))


def test_days_sealed_together_are_what_each_is_alone() -> None:
    days = {date(2026, 1, 1) + timedelta(days=seed): a_day(seed=seed) for seed in range(11)}
    odd = a_day(seed=20).columns["collector"].copy()
    odd[5:9] = NAN
    stamp_s = a_day().stamp_s
    days[date(2026, 2, 1)] = Block(stamp_s=stamp_s, columns={"collector": np.round(odd, 2)})
    days[date(2026, 2, 2)] = Block(stamp_s=stamp_s, columns={"flow": np.round(odd), "pump": odd})
    days[date(2026, 2, 3)] = a_block([0, 60], flow=[1.0, NAN])
    assert seal_days(days) == {day: seal(block) for day, block in days.items()}
    assert seal_days({}) == {}


def test_days_read_together_are_what_each_is_joined() -> None:
    days = split_days(a_day(rows=600))
    collector = a_day().columns["collector"]
    other = Block(
        stamp_s=a_day().stamp_s + 10 * DAY,
        columns={"flow": np.round(collector), "heat": collector * 1e6, "pump": collector.round(1)},
    )
    blocks = [*days.values(), other]
    found, joined = decode_days([encode(one) for one in blocks]), join(blocks)
    assert found is not None
    assert joined is not None
    assert same(found, joined)
    older = decode_days([arrow_of(a_day()), encode(other)])
    assert older is not None
    assert np.isnan(older.columns["flow"][3])
    assert len(older) == 288
    assert decode_days([]) is None


def test_a_lone_decimal_among_whole_numbers_is_kept() -> None:
    values = np.zeros(1440)
    values[[3, 1001]] = [0.1, -70_000.123]
    day = Block(stamp_s=np.arange(1440, dtype=np.int64) * 60, columns={"flow": values})
    assert same(decode(encode(day)), day)


def test_the_hash_is_the_one_of_rounded_values_as_stored_ones_are() -> None:
    """Hashes stand in databases, so they may never change."""
    day = a_day(rows=1440)
    values = {
        "collector": day.columns["collector"],  # to the last digit
        "flow": np.round(day.columns["collector"], 2),
        "pump": np.where(np.arange(1440) % 7 == 0, NAN, -0.0),
        "tap": np.full(1440, NAN),
    }
    digest = hashlib.sha256(day.stamp_s.tobytes())
    for name in ("collector", "flow", "pump"):
        digest.update(name.encode())
        rounded = np.round(values[name], 3) + 0.0
        rounded[np.isnan(rounded)] = np.nan
        digest.update(rounded.tobytes())
    block = Block(stamp_s=day.stamp_s, columns=values)
    assert values_hash(block) == digest.hexdigest()


def test_rows_behind_those_that_are_there_are_told_like_any_others() -> None:
    old = a_block([0, 60, 120], flow=[1.0, NAN, 3.0])
    new = merge(old, a_block([180, 240], pump=[100.0, 0.0]))
    assert same(
        new,
        a_block(
            [0, 60, 120, 180, 240],
            flow=[1.0, NAN, 3.0, NAN, NAN],
            pump=[NAN, NAN, NAN, 100.0, 0.0],
        ),
    )
    told = change(old, new)
    assert (told.new, told.changed, told.gone, told.columns) == (2, 0, 0, True)
    assert told.touched_s.tolist() == [180, 240]
    new.columns["flow"][0] = 2.0
    told = change(old, new)
    assert (told.new, told.changed, told.touched_s.tolist()) == (2, 1, [0, 180, 240])
