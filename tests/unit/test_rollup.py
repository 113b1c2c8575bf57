"""Five-minute means of a day: what they hold, and that no peak is lost."""

import numpy as np
import pytest

from analysis.blocks import Block
from analysis.record import steps_s
from analysis.rollup import roll_up, spread

DAY_S = 1_750_377_600  # 2025-06-20T00:00Z
MINUTES = DAY_S + 60 * np.arange(1440, dtype=np.int64)


def day(**columns: np.ndarray) -> Block:
    return Block(stamp_s=MINUTES, columns=columns)


def ramp() -> np.ndarray:
    return np.arange(1440, dtype=np.float64)


@pytest.mark.parametrize("stamp", ["end", "start"])
def test_a_peak_of_one_minute_is_the_highest_of_its_stretch(stamp):
    values = np.full(1440, 60.0)
    values[727] = 212.5
    rolled = roll_up(day(collector=values), stamp=stamp)
    assert rolled.highs.columns["collector"].max() == 212.5
    assert rolled.lows.columns["collector"].min() == 60.0
    hours = rolled.highs.stamp_s[rolled.highs.columns["collector"] == 212.5]
    assert len(hours) == 1
    assert abs(int(hours[0]) - int(MINUTES[727])) < 3600
    place = int(rolled.means.columns["collector"].argmax())
    assert rolled.means.columns["collector"][place] == pytest.approx(60.0 + 152.5 / 5, abs=0.05)
    assert abs(int(rolled.means.stamp_s[place]) - int(MINUTES[727])) <= 240
    shown = spread(rolled, stamp=stamp)
    at = int(shown.columns["collector"].argmax())
    assert abs(int(shown.stamp_s[at]) - int(MINUTES[727])) <= 300


@pytest.mark.parametrize(("stamp", "first"), [("start", [0, 1, 2, 3, 4]), ("end", [1, 2, 3, 4, 5])])
def test_a_stretch_is_the_minutes_that_end_or_begin_in_it(stamp, first):
    rolled = roll_up(day(collector=ramp()), stamp=stamp)
    assert np.mean(first) in rolled.means.columns["collector"].tolist()


@pytest.mark.parametrize("stamp", ["end", "start"])
def test_the_stretches_are_as_long_together_as_the_rows_were(stamp):
    rolled = roll_up(day(collector=ramp()), stamp=stamp)
    assert len(rolled.means) <= 289
    lengths = steps_s(rolled.means.stamp_s, stamp=stamp)
    # The lone first row of end stamps is as long as its log's step, told by its neighbours only.
    assert lengths[1:-1].sum() == pytest.approx(86_400, abs=600)
    weighted = (rolled.means.columns["collector"] * lengths)[1:-1].sum() / lengths[1:-1].sum()
    assert weighted == pytest.approx(719.5, rel=0.01)


def test_counters_and_figures_of_days_are_not_averaged():
    register = ramp() / 10
    heat = np.full(1440, np.nan)
    heat[700] = 7.25
    rolled = roll_up(day(heat_register=register, day_heat=heat), stamp="end")
    assert rolled.means.columns["heat_register"][-1] == register[-1]
    assert set(rolled.means.columns["heat_register"]) <= set(register)
    assert rolled.means.columns["day_heat"][~np.isnan(rolled.means.columns["day_heat"])] == [7.25]
    assert rolled.highs.columns == {}


def test_means_have_as_many_decimals_as_the_rows():
    tenths = np.round(np.random.default_rng(1).normal(50, 20, 1440), 1)
    means = roll_up(day(collector=tenths), stamp="end").means.columns["collector"]
    assert (np.round(means, 1) == means).all()
    assert means.mean() == pytest.approx(tenths.mean(), abs=0.1)


def test_holes_stay_holes_and_never_make_a_value():
    values = np.full(1440, np.nan)
    values[3] = 5.0
    rolled = roll_up(day(collector=values), stamp="start")
    assert rolled.means.columns["collector"][0] == 5.0
    assert np.isnan(rolled.means.columns["collector"][1:]).all()


@pytest.mark.parametrize("stamp", ["end", "start"])
@pytest.mark.parametrize("every_s", [1, 7, 60, 113])
def test_what_a_plot_shows_rises_within_the_day_and_holds_lowest_and_highest(stamp, every_s):
    stamp_s = np.arange(DAY_S, DAY_S + 86_400, every_s, dtype=np.int64)
    values = np.random.default_rng(every_s).normal(50, 20, stamp_s.shape[0])
    rolled = roll_up(Block(stamp_s=stamp_s, columns={"collector": values}), stamp=stamp)
    shown = spread(rolled, stamp=stamp)
    assert (np.diff(shown.stamp_s) > 0).all()
    assert shown.stamp_s[0] >= DAY_S
    assert shown.stamp_s[-1] < DAY_S + 86_400
    assert shown.columns["collector"].max() == values.max()
    assert shown.columns["collector"].min() == values.min()
