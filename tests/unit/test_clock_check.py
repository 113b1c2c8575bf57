"""The clock's error by the sun, on invented plants whose clocks are known to be right or wrong."""

import functools
from dataclasses import replace

import numpy as np
import pytest

from analysis.clock_check.course import ClockDays, course_of, one_way_round
from analysis.clock_check.curves import Curves
from analysis.clock_check.ends import light_ends
from analysis.clock_check.proposal import (
    corrections,
    drift_wrong_since_s,
    keys_of,
    wrong_pieces,
    zone_of_clock,
)
from analysis.clock_check.shift import shifts
from analysis.clock_check.whole_log import clock_question, look_at_clock
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource
from analysis.site import LogMap
from analysis.sitefile import parse_map, parse_site
from fixtures.logfile import tidy_csv
from fixtures.scenario import home, site_toml
from fixtures.sensors import observe
from fixtures.simulate import simulate
from tests.build import a_site

DAY = 86_400


@functools.cache
def logged(azimuth_deg: float, start: str, step_s: int, channel: str):
    scenario = home(azimuth_deg=azimuth_deg)
    run = simulate(scenario, seed=8, start=start, days=20)
    log = observe(run, seed=2, sensors="site", channels=(channel,), step_s=step_s)
    return parse_site(site_toml(scenario)), log


def looked(site, log, off_min: float, head: str = "time"):
    wrong = replace(log, stamp_s=log.stamp_s + int(off_min * 60))
    data = tidy_csv(wrong).replace(b"time", head.encode(), 1)
    parsed = read_logs([LogSource(name="l.csv", data=data)], site=site)
    return look_at_clock(parsed, site=site, log_map=LogMap()), parsed


@pytest.mark.parametrize("azimuth_deg", [170.0, 215.0, 140.0])
@pytest.mark.parametrize(("start", "step_s"), [("2025-01-10", 300), ("2025-06-10", 600)])
@pytest.mark.parametrize("off_min", [0, 37, -61, 180])
def test_light_tells_the_error_within_its_uncertainty(azimuth_deg, start, step_s, off_min):
    site, log = logged(azimuth_deg, start, step_s, "irradiance_plane")
    seen, _ = looked(site, log, off_min)
    (piece,) = seen.course.pieces
    assert piece.days >= 15
    assert abs(piece.offset_s / 60.0 - off_min) < 1.96 * piece.u_s / 60.0
    assert piece.u_s < 480.0
    assert bool(seen.corrections) == (off_min != 0)
    assert ("fits the sun" in seen.says) == (off_min == 0)


def test_level_sensors_tell_too_and_too_few_days_do_not():
    site, log = logged(170.0, "2025-06-10", 300, "irradiance_horizontal")
    seen, parsed = looked(site, log, 0)
    assert abs(seen.course.pieces[0].offset_s) < 300.0
    few = replace(
        parsed,
        stamp_s=parsed.stamp_s[:900],
        columns={name: values[:900] for name, values in parsed.columns.items()},
    )
    assert look_at_clock(few, site=site, log_map=LogMap()) is None


def test_what_is_asked_puts_the_clock_right_when_it_is_accepted():
    site, log = logged(170.0, "2025-06-10", 300, "irradiance_plane")
    seen, _ = looked(site, log, 47)
    asked = clock_question(seen, files=["l.csv"])
    assert asked.kind == "clock"
    assert "ahead of the sun" in asked.why
    *offered, leave = asked.choices
    assert leave.value == ""
    # Stamps with their own zone are never a matter of zones.
    assert [one.value.split(" ")[0] for one in offered] == ["clock_offset_min"]
    told = parse_map(f"[log]\n{offered[0].value}\n")
    data = tidy_csv(replace(log, stamp_s=log.stamp_s + 47 * 60))
    again = read_logs([LogSource(name="l.csv", data=data)], site=site, log_map=told)
    assert abs(int(again.stamp_s[0]) - int(log.stamp_s[0])) < 400
    assert clock_question(look_at_clock(again, site=site, log_map=told), files=["l.csv"]) is None


def test_a_moved_curve_is_found_where_it_was_moved():
    place = np.arange(288)
    beam = np.maximum(np.sin((place - 80) / 130 * np.pi), 0.0)[None, :]
    even = np.maximum(np.sin((place - 70) / 150 * np.pi), 0.0)[None, :]
    for moved in (-100, -7, 0, 3, 60):
        found = shifts(np.roll(3.0 * beam + even, moved, axis=1), Curves(beam=beam, even=even))
        assert found.offset_s[0] == pytest.approx(moved * 300.0, abs=1.0)
        assert found.misfit[0] < 1e-6
    gap = np.where(place == 100, np.nan, beam)
    assert np.isnan(shifts(gap, Curves(beam=beam, even=even)).offset_s).all()


def test_ends_of_light_stand_between_rows_and_want_dark_beside_them():
    time_s = np.arange(0, 3 * DAY, 600)
    light = np.where((time_s % DAY >= 6 * 3600) & (time_s % DAY < 18 * 3600), 300.0, 0.0)
    first, last = light_ends(time_s, light, step_s=600.0)
    assert first.tolist() == [6 * 3600 - 300 + day * DAY for day in range(3)]
    assert last.tolist() == [18 * 3600 - 300 + day * DAY for day in range(3)]
    seen = (time_s < 5 * 3600) | (time_s > 7 * 3600)
    assert len(light_ends(time_s[seen], light[seen], step_s=600.0)[0]) == 2


def days_of(offset_s, *, first_s: float = 1.74e9, noise_s: float = 600.0) -> ClockDays:
    count = len(offset_s)
    noise = np.random.default_rng(4).normal(0.0, noise_s, count)
    return ClockDays(
        day=np.arange(count),
        time_s=first_s + DAY * np.arange(count, dtype=np.float64),
        offset_s=np.asarray(offset_s) + noise,
        noise_s=np.full(count, noise_s),
        stays_s=150.0,
        basis="sun sensor",
    )


def test_the_plainest_course_is_told():
    place = np.arange(200.0)
    steady = course_of(days_of(np.full(200, 1200.0)))
    assert len(steady.pieces) == 1
    assert steady.drift is None
    stepped = course_of(days_of(np.where((place >= 60) & (place < 130), 3600.0, 0.0)))
    assert [round(one.offset_s / 600) for one in stepped.pieces] == [0, 6, 0]
    assert abs(stepped.pieces[1].days - 70) <= 2
    drifting = course_of(days_of(place * 20.0))
    assert drifting.drift is not None
    assert drifting.drift.per_month_s == pytest.approx(20.0 * 30.4375, rel=0.1)


@pytest.mark.parametrize(("most_min", "wrong"), [(12.0, False), (15.4, True), (40.0, True)])
def test_a_drift_that_has_become_wrong_is_always_given_its_keys(most_min, wrong):
    days = days_of(np.linspace(-14.0, most_min, 200) * 60.0)
    course = course_of(days)
    assert course.drift is not None
    assert (drift_wrong_since_s(course) is not None) == wrong
    found = corrections(course, zone_of_clock(days, a_site(), course), a_site())
    assert [one.drift_min_per_month is not None for one in found] == ([True] if wrong else [])
    if most_min == 15.4:  # no month as a whole is off by so much
        assert wrong_pieces(course) == ()


def by_collector(minutes) -> ClockDays:
    days = days_of(np.asarray(minutes) * 60.0, noise_s=300.0)
    return replace(days, noise_s=np.full(len(days.day), 1500.0), stays_s=360.0, basis="collector")


@pytest.mark.parametrize(
    ("before", "meanwhile", "told"),
    [
        (21.0, 21.0, []),  # what a plant does to its estimate all year
        (-4.0, 23.0, [23.0]),  # less than that tells, but beside the plant's own months
        (-10.0, 12.0, []),
        (8.0, 22.0, []),
        (22.0, -45.0, [-45.0]),  # the sound months stand out from the wrong ones as well
    ],
)
def test_without_a_sun_sensor_small_errors_want_sound_months_beside_them(before, meanwhile, told):
    place = np.arange(140)
    inside = (place >= 45) & (place < 105)
    course = course_of(by_collector(np.where(inside, meanwhile, before)))
    wrong = wrong_pieces(course)
    assert [one.offset_s / 60.0 for one in wrong] == pytest.approx(told, abs=3.0)
    if told:
        assert wrong[0].days == pytest.approx(60, abs=3)


def test_strays_are_no_step():
    offset = np.zeros(100)
    offset[[20, 21, 50, 77]] = 5 * 3600.0
    (one,) = course_of(days_of(offset)).pieces
    assert abs(one.offset_s) < 240.0


@pytest.mark.parametrize(("behind", "zone"), [(3600.0, "UTC"), (-3600.0, "Etc/GMT-2")])
def test_a_fixed_clock_over_a_change_of_summer_time_is_a_zone(behind, zone):
    # From 1 February: 58 days of winter, then summer time in London.
    first_s = 1_738_411_200.0
    place = np.arange(120)
    offset = np.where(place >= 58, -3600.0, 0.0) + (0.0 if behind > 0.0 else 7200.0)
    days = days_of(offset, first_s=first_s, noise_s=300.0)
    assert zone_of_clock(days, a_site(), course_of(days)) == zone


def test_keys_are_what_the_map_reads():
    site, log = logged(170.0, "2025-06-10", 300, "irradiance_plane")
    seen, _ = looked(site, log, -61)
    told = parse_map("[log]\n" + keys_of(seen.corrections[-1], apart="\n") + "\n")
    assert told.clock_offset_min == pytest.approx(-61, abs=6)


def test_half_a_day_off_is_one_error_and_not_two():
    flipping = np.array([43000.0, -43100.0, 42000.0, -42500.0, 43150.0])
    one_side = one_way_round(flipping)
    assert np.ptp(one_side) < 2200.0
    assert np.allclose((one_side - flipping) % 86400.0, 0.0)
    little = np.array([-600.0, 300.0, 43000.0, 900.0, -1200.0])
    assert one_way_round(little).tolist() == little.tolist()
