"""Channels sampled apart come to common rows, and nothing else changes.

The reference is one simulated log at one minute: its channels are taken apart onto stamps of two
loggers, or onto one stamp for each sensor, and the heat of both is compared.
"""

from collections.abc import Sequence
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.apart import apart_words
from analysis.assess import observe
from analysis.common_rows import on_common_rows
from analysis.record import Record, record_from_stamps
from analysis.sitefile import parse_site
from fixtures.scenario import site_toml
from fixtures.sensors import observe as log_of
from tests.build import NO_SUN_LOG, a_plant, a_run, asking

DAY = 1_750_032_000  # a UTC midnight
NAMES = ("collector", "loop_hot", "loop_cold", "store_bottom", "store_top", "flow", "pump")
METER = ("flow", "pump")
ROOF = tuple(name for name in NAMES if name not in METER)
Group = tuple[Sequence[str], int, int, int]


@cache
def minutes() -> tuple[np.ndarray, dict[str, np.ndarray]]:
    run = a_run("home", seed=3, start="2025-06-01", days=4, changes=())
    log = log_of(run, seed=103, sensors="site", step_s=60, channels=NO_SUN_LOG)
    columns = {name: np.asarray(values, dtype=float) for name, values in log.columns.items()}
    return log.stamp_s.astype(np.int64), columns


def taken_apart(*groups: Group) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Lay groups of (channels, every n-th minute, first minute, seconds later) on one axis."""
    stamp_s, columns = minutes()
    rows = [np.arange(first, len(stamp_s), every) for _, every, first, _ in groups]
    own = [stamp_s[at] + later for at, (*_, later) in zip(rows, groups, strict=True)]
    union = np.unique(np.concatenate(own))
    found = {}
    for (names, *_), at, stamps in zip(groups, rows, own, strict=True):
        for name in names:
            found[name] = np.full(len(union), np.nan)
            found[name][np.searchsorted(union, stamps)] = columns[name][at]
    return union, found


def heat_kwh(record: Record) -> tuple[float, float]:
    """Give the heat of all days and how much of their time is known."""
    run = a_run("home", seed=3, start="2025-06-01", days=4, changes=())
    table = observe(
        site=parse_site(site_toml(run.scenario)),
        record=record,
        channels=frozenset(record.columns),
        catalogue=(),
    )
    known_s = np.nansum(table.column("known_s"))
    return float(np.nansum(table.column("heat_kwh"))), float(known_s) / (4 * 86_400)


def rows_of(*groups: Group) -> Record:
    stamp_s, columns = taken_apart(*groups)
    return record_from_stamps(stamp_s=stamp_s, columns=columns)


WHOLE: Group = (NAMES, 1, 0, 0)
APART: dict[str, tuple[Group, ...]] = {
    "two loggers, 97 s": ((ROOF, 5, 0, 0), (METER, 5, 2, -23)),
    "half a step": ((ROOF, 5, 0, 0), (METER, 5, 2, 30)),
    "a slow meter": ((ROOF, 1, 0, 0), (METER, 5, 2, -23)),
    "a slow roof": ((METER, 1, 0, 0), (ROOF, 5, 2, -23)),
    "a slow meter on the same stamps": ((ROOF, 1, 0, 0), (METER, 5, 0, 0)),
    "one sensor at a time": tuple(((name,), 1, 0, 7 * at) for at, name in enumerate(NAMES)),
}


@pytest.mark.parametrize("groups", APART.values(), ids=APART)
def test_heat_of_channels_taken_apart_is_that_of_the_whole_log(groups):
    whole, _ = heat_kwh(rows_of(WHOLE if groups[0][1] == 1 else (NAMES, 5, 0, 0)))
    record = rows_of(*groups)
    found, known_frac = heat_kwh(record)
    assert found == pytest.approx(whole, rel=0.02)
    assert known_frac == pytest.approx(1.0, abs=0.01)
    assert "Sampled at other moments" in apart_words(record)[0]


def test_as_they_are_written_no_row_tells_heat():
    _, columns = taken_apart(*APART["two loggers, 97 s"])
    apart = np.isfinite(columns["flow"]) & np.isfinite(columns["loop_hot"])
    assert not apart.any()


def test_a_volume_register_read_apart_gives_its_whole_sum_and_no_spikes():
    stamp_s, columns = minutes()
    register = np.cumsum(columns["flow"])
    rows = np.arange(7, len(stamp_s), 15)
    union = np.unique(np.concatenate([stamp_s, stamp_s[rows] + 20]))
    held = {name: np.full(len(union), np.nan) for name in (*ROOF, "pump", "flow_volume")}
    for name in (*ROOF, "pump"):
        held[name][np.searchsorted(union, stamp_s)] = columns[name]
    held["flow_volume"][np.searchsorted(union, stamp_s[rows] + 20)] = register[rows]
    record = record_from_stamps(stamp_s=union, columns=held)
    found, known_frac = heat_kwh(record)
    assert found == pytest.approx(heat_kwh(rows_of(WHOLE))[0], rel=0.02)
    assert known_frac > 0.98
    steps = np.diff(record.columns["flow_volume"])
    assert np.nanmax(steps) <= np.nanmax(columns["flow"]) * 1.01
    assert np.nansum(steps) == pytest.approx(register[rows[-1]] - register[rows[0]], rel=0.01)


def test_nothing_is_brought_across_a_gap():
    stamp_s, columns = taken_apart(*APART["two loggers, 97 s"])
    hole = (stamp_s >= stamp_s[400]) & (stamp_s < stamp_s[500])
    for name in METER:
        columns[name][hole] = np.nan
    found = on_common_rows(stamp_s, columns)
    at = (found.stamp_s >= stamp_s[402]) & (found.stamp_s < stamp_s[498])
    assert at.sum() > 40
    assert np.isnan(found.columns["flow"][at]).all()
    assert np.isfinite(found.columns["loop_hot"][at]).all()


def test_rows_of_the_other_logger_stay_where_the_first_was_silent():
    stamp_s, columns = taken_apart(*APART["two loggers, 97 s"])
    hole = (stamp_s >= stamp_s[400]) & (stamp_s < stamp_s[500])
    for name in ROOF:
        columns[name][hole] = np.nan
    left = np.isfinite(columns["flow"][hole]).sum()
    found = on_common_rows(stamp_s, columns)
    at = (found.stamp_s >= stamp_s[400]) & (found.stamp_s < stamp_s[500])
    assert abs(int(at.sum()) - int(left)) <= 2
    assert np.isfinite(found.columns["flow"][at]).all()


def test_a_reading_by_hand_among_samples_keeps_its_row():
    stamp_s = DAY + np.arange(288) * 300
    union = np.sort(np.append(stamp_s, DAY + 30_000 + 17))
    at = int(np.searchsorted(union, DAY + 30_017))
    held = {"flow": np.ones(289), "heat_register": np.full(289, np.nan)}
    held["flow"][at], held["heat_register"][at] = np.nan, 812.0
    found = on_common_rows(union, held)
    assert found.stamp_s is union


@pytest.mark.parametrize("channels", [NO_SUN_LOG, ("collector", "pump")])
def test_a_log_whose_channels_share_their_rows_is_passed_through_uncopied(channels):
    stamp_s, columns = minutes()
    held = {name: columns[name].copy() for name in channels}
    rng = np.random.default_rng(5)
    for values in held.values():  # cells that are missing here and there are no other logger
        values[rng.random(len(values)) < 0.2] = np.nan
    held["collector"][2000:4000] = np.nan
    found = on_common_rows(stamp_s, held)
    assert found.stamp_s is stamp_s
    assert found.columns is held


def test_sensors_that_followed_each_other_did_not_take_turns():
    stamp_s = DAY + np.arange(288) * 300
    held = {"flow": np.ones(288), "pressure": np.ones(288), "pump": np.ones(288)}
    held["flow"][:150] = np.nan
    held["pressure"][150:] = np.nan
    assert on_common_rows(stamp_s, held).stamp_s is stamp_s


def test_two_loggers_give_no_finding_that_one_does_not():
    plant = a_plant(days=8)
    stamp_s = (plant.record.start_s + plant.record.step_s).astype(np.int64)
    union = np.unique(np.concatenate([stamp_s, stamp_s + 97]))
    held = {}
    for name, values in plant.record.columns.items():
        held[name] = np.full(len(union), np.nan)
        held[name][np.searchsorted(union, stamp_s + (97 if name in METER else 0))] = values
    apart = record_from_stamps(stamp_s=union, columns=held)
    table = observe(site=plant.site, record=apart, channels=plant.channels)
    report = plant.report(table=table)
    assert asking(report) == asking(plant.report())
    assert any("Sampled at other moments" in note for note in report.basis.notes)


@settings(max_examples=40, deadline=None)
@given(
    steps=st.lists(st.sampled_from([60, 90, 120, 300, 600]), min_size=2, max_size=4),
    later=st.lists(st.integers(0, 299), min_size=4, max_size=4),
    jitter=st.integers(0, 5),
    seed=st.integers(0, 10_000),
)
def test_every_value_is_a_sample_near_in_time_and_nothing_is_left_behind(
    steps, later, jitter, seed
):
    rng = np.random.default_rng(seed)
    names = ("loop_hot", "flow", "pump", "ambient")[: len(steps)]
    own = {
        name: np.unique(
            DAY
            + late
            + np.arange(0, 40_000, step)
            + rng.integers(0, jitter + 1, -(-40_000 // step))
        )
        for name, step, late in zip(names, steps, later, strict=False)
    }
    union = np.unique(np.concatenate(list(own.values())))
    held = {}
    for number, (name, stamps) in enumerate(own.items()):
        held[name] = np.full(len(union), np.nan)
        # Each sample tells its channel and its moment.
        held[name][np.searchsorted(union, stamps)] = number * 1e6 + stamps - DAY
    found = on_common_rows(union, held)
    assert (np.diff(found.stamp_s) > 0).all()
    assert np.isin(found.stamp_s, union).all()
    for number, (name, step) in enumerate(zip(own, steps, strict=False)):
        values = found.columns[name]
        there = np.isfinite(values)
        taken_s = values[there] - number * 1e6 + DAY
        assert np.isin(taken_s, own[name]).all()
        assert (np.abs(taken_s - found.stamp_s[there]) <= 0.75 * step + jitter).all()
        # Where no other logger is faster, a sample is left out only for one that is nearer.
        assert len(np.unique(taken_s)) >= 0.85 * len(own[name])
