"""What is worked out side by side says what its definition says, one after the other."""

from itertools import pairwise

import numpy as np
import pytest

from analysis.case import case_of
from analysis.clock_check import course
from analysis.clock_check.course import ClockDays, cost_of
from analysis.clock_check.ends import light_ends
from analysis.day_sums import sums_over
from analysis.faults._grain import grain_columns
from analysis.faults._stillness import stillness
from analysis.offsets import _spreads_about
from tests.build import a_record, a_site, at


def repeating(draw, rows, grain):
    """Give a value that wanders in steps and now and then stays for hours."""
    wander = np.cumsum(draw.normal(size=rows) * (draw.random(rows) < 0.4))
    values = np.round(wander / grain) * grain
    for first in draw.integers(0, rows, 6):
        values[first : first + rows // 20] = values[first]
    return values


def runs_of(case, values):
    """Give day, first and last row of each run of an hour and more, row by row."""
    record, found, run = case.record, [], []

    def closed():
        if run and end_s(run[-1]) - record.start_s[run[0]] >= 3600:
            found.append((int(case.day[run[0]]), run[0], run[-1]))

    def end_s(row):
        return record.start_s[row] + int(record.step_s[row])

    for row in np.flatnonzero(np.isfinite(values)).tolist():
        apart = run and (
            case.day[row] != case.day[run[-1]]
            or record.start_s[row] - record.start_s[run[-1]] > 7200
            or values[row] != values[run[-1]]
        )
        if apart:
            closed()
            run = []
        run.append(row)
    closed()
    return found


@pytest.mark.parametrize("step_s", [60, 300, 900, 3600])
@pytest.mark.parametrize("holes", [0.0, 0.3])
def test_still_runs_are_those_that_a_walk_over_the_rows_finds(step_s, holes):
    draw = np.random.default_rng(step_s)
    rows = 3 * 86400 // step_s
    stamps = at("2025-06-10T00:00") + np.arange(rows) * step_s
    stamps = stamps[draw.random(rows) >= holes]
    values = repeating(draw, len(stamps), 0.5)
    values[draw.random(len(stamps)) < holes / 10.0] = np.nan
    record = a_record(stamp_s=stamps, collector=values)
    case = case_of(site=a_site(), record=record, channels=frozenset(record.columns))
    found = stillness(case, ("collector",))["collector"]
    rows_found = list(
        zip(found.day.tolist(), found.first.tolist(), found.last.tolist(), strict=True)
    )
    wanted = runs_of(case, record.columns["collector"])
    assert wanted
    assert rows_found == wanted


def test_the_grain_is_the_least_change_of_each_day_that_is_one():
    draw = np.random.default_rng(5)
    values = repeating(draw, 3 * 288, 0.5)
    values[300:310] = np.nan
    values[576:] = values[576]  # a day without a change
    case = case_of(
        site=a_site(),
        record=a_record(rows=864, collector=values),
        channels=frozenset({"collector"}),
    )
    grains = grain_columns(case)["grain_collector"]
    for day in range(len(case.days)):
        change = np.abs(np.diff(values[case.day == day]))
        wanted = np.min(change[change > 0.0], initial=np.inf)
        assert grains[day] == wanted or (np.isnan(grains[day]) and np.isinf(wanted))
    assert np.isnan(grains).any()


def test_the_spread_about_the_median_grows_as_it_is_defined():
    values = np.round(np.random.default_rng(6).normal(size=60), 1)
    wanted = [0.0] + [
        float(np.abs(values[:count] - np.median(values[:count])).sum()) for count in range(1, 61)
    ]
    np.testing.assert_allclose(_spreads_about(values), wanted, atol=1e-12)


def test_the_cut_into_pieces_costs_the_least_of_all_cuts():
    draw = np.random.default_rng(7)
    offset_s = np.where(np.arange(40) < 22, 0.0, 3600.0) + draw.normal(size=40) * 400.0
    days = ClockDays(
        day=np.arange(40), time_s=np.arange(40) * 86400.0, offset_s=offset_s,
        noise_s=np.full(40, 360.0), stays_s=150.0, basis="sun sensor",
    )  # fmt: skip
    levels = np.unique(np.quantile(offset_s, np.linspace(0.0, 1.0, course._LEVELS)))

    def piece(first, after):
        part = days.part(slice(first, after))
        return float(cost_of(part, part.offset_s - levels[:, None]).min())

    best = [0.0]
    for end in range(1, 41):
        starts = [start for start in range(end - 7) if np.isfinite(best[start])]
        best.append(
            min((best[one] + piece(one, end) + 8.0 * (one > 0) for one in starts), default=np.inf)
        )
    cuts, cost = course._pieces(days)
    assert cost == pytest.approx(best[-1])
    edges = [*cuts, 40]
    own = sum(piece(a, b) + 8.0 * (a > 0) for a, b in pairwise(edges))
    assert own == pytest.approx(cost)
    assert len(cuts) == 2


def test_the_ends_of_the_light_are_the_outermost_bright_rows_of_each_day():
    time_s = at("2025-06-10T00:00") + np.arange(5 * 288) * 300
    hour = (time_s - time_s[0]) / 3600.0 % 24.0
    light = np.where((hour > 5.0) & (hour < 20.0), 300.0, 0.0)
    light[(hour > 11.0) & (hour < 12.0)] = 0.0  # a dark hour at noon is no end
    first, last = light_ends(time_s, light, step_s=300.0)
    begins = time_s[::288] + 5.0 * 3600.0 + 150.0
    np.testing.assert_array_equal(first, begins)
    np.testing.assert_array_equal(last, begins + 15.0 * 3600.0 - 300.0)


def test_sums_over_sets_of_days_are_those_of_each_set_and_read_no_day_that_is_not_there():
    draw = np.random.default_rng(4)
    figures = [draw.random(30), np.where(draw.random(30) < 0.3, np.nan, 1.0), draw.random(30) > 0.5]
    sets = draw.integers(-1, 30, (5, 9))
    found = sums_over(sets, figures)
    for row, days in enumerate(sets):
        there = days[days >= 0]
        assert found[:, row] == pytest.approx([np.nansum(one[there]) for one in figures])
    assert sums_over(np.full((2, 3), -1), [np.empty(0)]) == pytest.approx(np.zeros((1, 2)))
    assert sums_over(np.empty((0, 3), dtype=np.int64), figures).shape == (3, 0)
    with pytest.raises(IndexError, match="day 30 of 30"):
        sums_over(np.array([[0, 30]]), figures)
