"""Laws of the analysis that hold for any numbers."""

import json
from dataclasses import replace
from datetime import date

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.case import case_of
from analysis.day_rows import day_rows, table_from_rows
from analysis.days import DayTable, joined, local_days, part_of
from analysis.expected import expected_heat
from analysis.heat import heat_flow
from analysis.logs.registers import increments
from analysis.precedence import sort_out
from analysis.record import record_from_stamps, steps_s
from analysis.results import Bounded, Evidence, report_from_json, report_json
from analysis.runs import bin_runs
from analysis.units import kwh_from_j
from tests.build import a_clear_day, a_record, a_site
from tests.build_report import a_finding, a_report, at

ZONES = st.sampled_from(
    ["UTC", "Europe/London", "America/New_York", "Asia/Kathmandu", "Pacific/Auckland"]
)
TEMPERATURES = st.floats(5.0, 95.0)
FLOWS = st.floats(0.2, 10.0)
QUICK = settings(max_examples=40, deadline=None)


def kwh(record, site=None):
    power = heat_flow(
        site=site or a_site(), record=record, channels=frozenset(record.columns)
    ).power_w
    known = np.isfinite(power)
    return float(kwh_from_j(float((power[known] * record.step_s[known]).sum())))


@QUICK
@given(hot=TEMPERATURES, cold=TEMPERATURES, flow=FLOWS, factor=st.floats(0.5, 4.0))
def test_heat_grows_with_the_flow(hot, cold, flow, factor):
    one = kwh(a_record(rows=4, loop_hot=hot, loop_cold=cold, flow=flow))
    other = kwh(a_record(rows=4, loop_hot=hot, loop_cold=cold, flow=factor * flow))
    np.testing.assert_allclose(other, factor * one, rtol=1e-9, atol=1e-12)


@QUICK
@given(hot=TEMPERATURES, cold=TEMPERATURES, flow=FLOWS)
def test_turning_the_flow_round_turns_the_sign(hot, cold, flow):
    one = kwh(a_record(rows=4, loop_hot=hot, loop_cold=cold, flow=flow))
    assert np.sign(one) == np.sign(hot - cold)
    other = kwh(a_record(rows=4, loop_hot=hot, loop_cold=cold, flow=-flow))
    np.testing.assert_allclose(other, -one, rtol=1e-9, atol=1e-12)


@QUICK
@given(data=st.data(), rows=st.integers(2, 60))
def test_parts_add_up_and_missing_values_take_only_their_own_rows(data, rows):
    numbers = data.draw(
        st.lists(st.tuples(TEMPERATURES, TEMPERATURES, FLOWS), min_size=rows, max_size=rows)
    )
    hot, cold, flow = (np.array(column) for column in zip(*numbers, strict=True))
    # One hole: a channel that is there in every other row is one that is sampled less often.
    kept = np.arange(rows) < data.draw(st.integers(0, rows))
    whole = a_record(rows=rows, loop_hot=hot, loop_cold=cold, flow=flow)
    cut = data.draw(st.integers(0, rows))
    parts = kwh(whole.part(0, cut)) + kwh(whole.part(cut, rows))
    np.testing.assert_allclose(parts, kwh(whole), rtol=1e-9, atol=1e-12)
    holed = a_record(rows=rows, loop_hot=hot, loop_cold=cold, flow=np.where(kept, flow, np.nan))
    rest = a_record(rows=rows, loop_hot=hot, loop_cold=cold, flow=np.where(kept, np.nan, flow))
    np.testing.assert_allclose(kwh(holed) + kwh(rest), kwh(whole), rtol=1e-9, atol=1e-12)


@QUICK
@given(
    steps=st.lists(st.floats(0.0, 50.0), min_size=2, max_size=80),
    hidden=st.sets(st.integers(0, 79)),
)
def test_a_register_that_only_counts_up_is_the_sum_of_its_increments(steps, hidden):
    register = 1000.0 + np.cumsum(steps)
    register[[place for place in hidden if place < len(register)]] = np.nan
    known = register[np.isfinite(register)]
    found = increments(register)
    if known.size > 1:
        np.testing.assert_allclose(np.nansum(found), known[-1] - known[0], rtol=1e-9, atol=1e-9)
    assert not (found < 0.0).any()


@QUICK
@given(gaps=st.lists(st.integers(1, 20_000), min_size=1, max_size=60), end=st.booleans())
def test_rows_never_stand_for_more_time_than_there_is(gaps, end):
    stamps = np.cumsum(gaps).astype(np.int64)
    steps = steps_s(stamps, stamp="end" if end else "start")
    assert (steps > 0.0).all()
    inner = steps[1:] if end else steps[:-1]
    assert (inner <= np.diff(stamps)).all()


@QUICK
@given(values=st.lists(st.floats(-500.0, 5000.0), min_size=1, max_size=50))
def test_masking_hides_exactly_what_cannot_be(values):
    given_values = np.array(values)
    record = record_from_stamps(
        stamp_s=np.arange(len(values), dtype=np.int64) * 60, columns={"collector": given_values}
    )
    outside = (given_values < -50.0) | (given_values > 350.0)
    np.testing.assert_array_equal(np.isnan(record.columns["collector"]), outside)
    np.testing.assert_array_equal(record.columns["collector"][~outside], given_values[~outside])
    if outside.any():
        np.testing.assert_array_equal(record.masked["collector"], outside)


@QUICK
@given(first=st.dates(date(2000, 1, 1), date(2037, 1, 1)), count=st.integers(1, 40), zone=ZONES)
def test_days_touch_whatever_the_zone(first, count, zone):
    days = local_days(
        first=first, last=date.fromordinal(first.toordinal() + count - 1), timezone=zone
    )
    assert len(days) == count
    assert (days.length_s >= 23 * 3600).all()
    assert (days.length_s <= 25 * 3600).all()
    assert days.dates[0] == first.isoformat()


def tables(values, zone):
    first = date(2025, 3, 20)
    days = local_days(
        first=first, last=date.fromordinal(first.toordinal() + len(values) - 1), timezone=zone
    )
    return DayTable(days=days, columns={"heat_kwh": np.array(values)}, happenings=())


@QUICK
@given(
    values=st.lists(st.floats(-50.0, 50.0) | st.just(float("nan")), min_size=2, max_size=30),
    zone=ZONES,
    data=st.data(),
)
def test_tables_are_cut_stored_and_joined_without_loss(values, zone, data):
    table = tables(values, zone)
    cut = data.draw(st.integers(1, len(values) - 1))
    parts = [part_of(table, first=0, last=cut), part_of(table, first=cut, last=len(values))]
    for again in (joined(parts, timezone=zone), joined(parts[::-1], timezone=zone)):
        assert again.days.dates == table.days.dates
        np.testing.assert_array_equal(again.column("heat_kwh"), table.column("heat_kwh"))
    stored = table_from_rows(day_rows(table), timezone=zone)
    np.testing.assert_array_equal(stored.column("heat_kwh"), table.column("heat_kwh"))
    np.testing.assert_array_equal(stored.days.edge_s, table.days.edge_s)


@QUICK
@given(flags=st.lists(st.booleans(), min_size=1, max_size=288), hidden=st.integers(0, 287))
def test_a_flag_that_is_taken_away_never_lengthens_the_runs(flags, hidden):
    whole = np.array([flags])
    fewer = whole.copy()
    fewer[0, hidden % len(flags)] = False

    def covered(some):
        return sum(run.length_s for run in bin_runs(some, least_s=900.0, bridge_s=600.0))

    assert covered(fewer) <= covered(whole)
    for run in bin_runs(whole, least_s=900.0):
        assert whole[0, run.bins].all()


@settings(max_examples=6, deadline=None)
@given(more=st.floats(1.05, 3.0))
def test_a_healthy_figure_falls_when_the_collector_loses_more(more):
    record = a_clear_day()
    site = a_site()
    channels = frozenset(record.columns)
    leaky = replace(
        site, arrays=tuple(replace(one, a1_w_m2k=one.a1_w_m2k * more) for one in site.arrays)
    )
    totals = []
    for facts in (site, leaky):
        case = case_of(site=facts, record=record, channels=channels)
        found = expected_heat(site=facts, model=case.model, sky=case.sky, loop=case.loop)
        totals.append(np.nansum(found.power_w))
    assert totals[1] < totals[0]


@settings(max_examples=8, deadline=None)
@given(share=st.floats(0.0, 1.2))
def test_a_healthy_figure_follows_the_sun_down_to_nothing(share):
    """The loop's temperatures stay; with the sun gone nothing is expected of it, nor ever more."""
    record = a_clear_day()
    columns = dict(record.columns)
    columns["irradiance_plane"] = share * columns["irradiance_plane"]
    dimmed = replace(record, columns=columns)
    site, channels = a_site(), frozenset(record.columns)
    totals = []
    for one in (record, dimmed):
        case = case_of(site=site, record=one, channels=channels)
        totals.append(np.nansum(case.expected.power_w))
        assert totals[-1] <= np.nansum(case.sky.gain_w)
    assert totals[1] <= totals[0] * max(share, 1.0) * 1.2 + 1e-6
    if share == 0.0:
        assert totals[1] == 0.0


SPANS = st.tuples(st.integers(0, 300), st.integers(1, 60))


@QUICK
@given(
    spans=st.lists(
        st.tuples(
            st.sampled_from(
                ["not_yet_fitted", "sensor_fault", "lost_circulation", "stagnation",
                 "degraded_tubes", "yield_shortfall", "frost_risk", "silence"]
            ),
            SPANS,
        ),
        max_size=8,
    )
)  # fmt: skip
def test_sorting_out_loses_and_doubles_nothing(spans):
    day = 86400
    findings = [
        a_finding(
            kind=kind,
            start_s=at(1, 1) + first * day,
            end_s=at(1, 1) + (first + long) * day,
            channel="collector" if kind == "sensor_fault" else None,
        )
        for kind, (first, long) in spans
    ]
    kept, explained = sort_out(findings, until_s=at(12, 31))
    assert len(kept) + len(explained) == len(findings)
    for item in explained:
        assert any(one.kind == item.suppressed_by for one in (*kept, *explained))


@QUICK
@given(lost=st.none() | st.floats(0.0, 1e4), value=st.floats(-1e5, 1e5), open_end=st.booleans())
def test_a_report_written_and_read_is_written_the_same(lost, value, open_end):
    finding = a_finding(
        end_s=None if open_end else at(6, 4),
        lost=None if lost is None else Bounded(value=lost, low=lost / 2, high=lost * 2),
        evidence=(
            Evidence(what="x", start_s=at(5, 1), end_s=at(5, 2), value=value, unit="K"),
            Evidence(what="y", start_s=at(5, 1), end_s=at(5, 2), value=float("nan"), unit="K"),
        ),
    )
    written = report_json(a_report(findings=(finding,)))
    text = json.dumps(written, allow_nan=False)
    assert report_json(report_from_json(json.loads(text))) == written
