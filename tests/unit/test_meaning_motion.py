"""What a column does at the edges of the pump; invented columns."""

import numpy as np
import pytest

from analysis.meaning.motion import motion_of, phases_of
from analysis.meaning.times import times_of

STAMPS = 1_750_000_000 // 86_400 * 86_400 + 300 * np.arange(3 * 288, dtype=np.int64)
TIMES = times_of(STAMPS, latitude_deg=50.0, longitude_deg=0.0)
HOUR = STAMPS / 3600.0 % 24.0
ON = (HOUR >= 10.0) & (HOUR < 15.0)


def moves(values):
    values = np.asarray(values, dtype=float)
    span = float(np.nanmax(values) - np.nanmin(values))
    return motion_of(values, phases_of(TIMES, ON), TIMES, span=span)


def test_a_pipe_jumps_at_each_start_and_a_store_rises_only_while_it_runs():
    pipe = moves(np.where(ON, 50.0, 20.0))
    assert (pipe.start, pipe.stop) == pytest.approx((1.0, -1.0))
    assert pipe.night_move == 0.0
    assert pipe.on_like == pytest.approx(1.0)
    store = moves(20.0 + np.where(ON, 4.0 * (HOUR - 10.0), np.where(HOUR < 10.0, 0.0, 20.0)))
    # 4 K an hour of a span of 20 K.
    assert store.on_rise == pytest.approx(0.2, abs=0.01)
    assert store.start_size < 0.06


def test_each_start_counts_once_and_short_pulses_do_not():
    pulsed = ON & (np.arange(STAMPS.size) % 4 == 0)
    assert phases_of(TIMES, ON).starts.shape[1] == 3
    assert phases_of(TIMES, pulsed).starts.shape[1] == 0


def test_without_a_pump_nothing_is_said_of_edges():
    silent = motion_of(HOUR, phases_of(TIMES, None), TIMES, span=24.0)
    assert np.isnan(silent.start)
    assert np.isnan(silent.on_like)
    assert np.isfinite(silent.night_move)
