"""Figures, looked at by their data: the right numbers, units in titles, gaps that stay gaps."""

import dataclasses
import json
import re
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.channels import channel
from analysis.faults import CATALOGUE
from analysis.fluid import ice_point_c
from analysis.record import Record
from analysis.results import Evidence
from analysis.sitefile import parse_site
from dashboards.figures.balance import balance
from dashboards.figures.brackets import spans
from dashboards.figures.course import course
from dashboards.figures.day_curves import Threshold, day_curves
from dashboards.figures.decisive import DECISIVE, decisive_hours
from dashboards.figures.evidence import evidence
from dashboards.figures.heat_by_period import heat_by_period
from dashboards.figures.strip_frame import first_day, frame
from dashboards.figures.trace_points import MOST_POINTS
from dashboards.figures.week_strip import week_strip
from dashboards.figures.year_strip import year_strip
from dashboards.periods import SIZES, Size, periods
from dashboards.reduce import min_max
from tests.architecture.test_source_rules import PUBLISHED_KINDS
from tests.build_report import a_finding, a_report, a_year, an_empty_report, at
from tests.build_service import site_file
from tests.plotly_rules import drawn

ZONE = "Europe/London"


def a_record(*, minutes: int = 1440, step_s: int = 60, start_s: int | None = None) -> Record:
    n = minutes * 60 // step_s
    start = (start_s if start_s is not None else at(5, 17)) + np.arange(n) * step_s
    hours = np.arange(n) * step_s / 3600.0
    return Record(
        start_s=start.astype(np.int64),
        step_s=np.full(n, float(step_s)),
        columns={
            "collector": 20.0 + 5.0 * hours,
            "collector_2": 21.0 + 5.0 * hours,
            "flow": np.full(n, 2.0),
            "pump": np.full(n, 100.0),
        },
        masked={},
    )


@pytest.mark.parametrize("size", SIZES)
def test_bars_hold_the_delivered_heat_of_the_report(size: Size) -> None:
    report = a_report()
    figure = drawn(heat_by_period(report, size, titles={}))
    bars = next(trace for trace in figure.data if trace.name == "delivered")
    total = sum(value for value in bars.y if value is not None)
    assert total == pytest.approx(report.totals.delivered_kwh)
    assert "[kWh]" in figure.layout.yaxis.title.text


def test_an_unmeasured_day_stays_a_gap() -> None:
    figure = drawn(heat_by_period(a_report(), "day", titles={}))
    bars = next(trace for trace in figure.data if trace.name == "delivered")
    by_day = dict(zip((when[:10] for when in bars.x), bars.y, strict=True))
    assert by_day["2025-03-10"] is None
    assert by_day["2025-03-20"] is not None


def test_month_bars_carry_their_bounds() -> None:
    report = a_report()
    figure = drawn(heat_by_period(report, "month", titles={}))
    bars = next(trace for trace in figure.data if trace.name == "delivered")
    june = report.months[5]
    assert june.delivered_high_kwh is not None
    assert june.delivered_kwh is not None
    assert bars.error_y.array[5] == pytest.approx(june.delivered_high_kwh - june.delivered_kwh)


def test_expected_is_not_drawn_where_the_weather_is_unknown() -> None:
    report = a_report(days=a_year(weather=False))
    figure = drawn(heat_by_period(report, "month", titles={}))
    line = next(trace for trace in figure.data if trace.name == "expected")
    assert all(value is None for value in line.y)
    assert line.showlegend is False


def test_findings_stand_on_the_time_axis_in_local_time() -> None:
    figure = drawn(heat_by_period(a_report(), "day", titles={"lost_circulation": "Stuck"}))
    line = next(trace for trace in figure.data if trace.name == "Stuck")
    assert line.x == ("2025-05-03 09:10", "2025-06-04 10:00")


def test_weeks_start_on_monday_and_add_up_bounds_linearly() -> None:
    report = a_report()
    weeks = periods(report, "week")
    assert all(week.start.weekday() == 0 for week in weeks)
    days = [day for day in report.days if "2025-06-02" <= day.date <= "2025-06-08"]
    week = next(week for week in weeks if week.start == date(2025, 6, 2))
    assert week.delivered_low_kwh == pytest.approx(sum(d.delivered_low_kwh or 0 for d in days))


def test_day_curves_show_the_wall_clock_of_the_site() -> None:
    figure = drawn(day_curves(a_record(), timezone=ZONE))
    assert figure.data[0].x0 == "2025-05-17 01:00:00"  # 00:00 UTC in summer time


def test_day_curves_have_a_panel_and_a_unit_for_each_family() -> None:
    figure = drawn(day_curves(a_record(), timezone=ZONE))
    titles = {axis.title.text for axis in figure.select_yaxes()}
    assert titles == {"°C", "flow [l/min]", "pump [%]"}


def test_a_hole_in_time_breaks_the_line() -> None:
    whole = a_record()
    keep = np.r_[0:300, 420:1440]
    holed = Record(
        start_s=whole.start_s[keep],
        step_s=whole.step_s[keep],
        columns={"collector": whole.columns["collector"][keep]},
        masked={},
    )
    figure = drawn(day_curves(holed, timezone=ZONE))
    trace = figure.data[0]
    assert set(trace.y[300:420]) == {None}
    assert trace.y[299] is not None
    assert trace.y[420] is not None
    assert figure.data[0].connectgaps is False


def test_rows_of_uneven_steps_keep_their_own_times_and_their_holes() -> None:
    start_s = at(5, 17) + np.array([0, 60, 120, 420, 720, 4000], dtype=np.int64)
    record = Record(
        start_s=start_s,
        step_s=np.array([60.0, 60.0, 300.0, 300.0, 300.0, 300.0]),
        columns={"collector": np.arange(6.0)},
        masked={},
    )
    trace = drawn(day_curves(record, timezone="UTC")).data[0]
    assert trace.y == (0.0, 1.0, 2.0, 3.0, 4.0, None, 5.0)
    assert trace.x[5:] == ("2025-05-17 00:17:00", "2025-05-17 01:06:40")


def test_the_night_the_clocks_change_keeps_its_own_times() -> None:
    # European Union clocks go back at 01:00 UTC on the last Sunday of October (2000/84/EC).
    record = a_record(minutes=180, start_s=at(10, 26))
    trace = drawn(day_curves(record, timezone="Europe/Berlin")).data[0]
    assert trace.x[0] == "2025-10-26 02:00:00"
    assert trace.x[60] == "2025-10-26 02:00:00"
    assert trace.x[-1] == "2025-10-26 03:59:00"


def test_a_figure_of_many_rows_is_capped() -> None:
    figure = drawn(day_curves(a_record(minutes=20 * 1440), timezone=ZONE))
    assert all(len(trace.y) <= MOST_POINTS for trace in figure.data)


def test_numbered_channels_come_with_their_base() -> None:
    figure = drawn(day_curves(a_record(), timezone=ZONE, channels=("collector",)))
    assert {trace.name for trace in figure.data} == {"collector", "collector (2)"}


def test_a_threshold_is_drawn_in_the_panel_of_its_unit() -> None:
    level = Threshold(label="flow at commissioning", value=2.0, quantity="flow")
    figure = drawn(day_curves(a_record(), timezone=ZONE, thresholds=(level,)))
    assert [(shape.yref, shape.y0) for shape in figure.layout.shapes] == [("y2", 2.0)]


def test_a_threshold_above_a_channel_goes_along_with_it() -> None:
    level = Threshold(label="start", value=8.0, over="collector")
    figure = drawn(day_curves(a_record(), timezone=ZONE, thresholds=(level,)))
    traces = {trace.name: trace for trace in figure.data}
    assert traces["start"].y == pytest.approx([y + 8.0 for y in traces["collector"].y])
    assert traces["start"].line.dash == "dash"
    assert figure.layout.shapes == ()


def test_a_channel_without_any_value_has_no_trace() -> None:
    record = a_record()
    nothing = dict(record.columns) | {"store_top": np.full(len(record), np.nan)}
    with_empty = Record(start_s=record.start_s, step_s=record.step_s, columns=nothing, masked={})
    names = {trace.name for trace in drawn(day_curves(with_empty, timezone=ZONE)).data}
    assert "store, top" not in names


def test_evidence_draws_the_commissioned_flow_and_sets_its_hours_off() -> None:
    figure = drawn(
        evidence(
            a_finding(), a_record(), site=parse_site(site_file()), hours=(at(5, 17), at(5, 18))
        )
    )
    labels = {note.text for note in figure.layout.annotations}
    assert "flow at commissioning" in labels
    rectangles = [shape for shape in figure.layout.shapes if shape.type == "rect"]
    assert [shape.x0 for shape in rectangles] == ["2025-05-17 14:00:00"]  # Berlin


def test_every_kind_has_its_decisive_channels() -> None:
    assert {fault.kind for fault in CATALOGUE} <= set(DECISIVE) <= PUBLISHED_KINDS
    for kind, decisive in DECISIVE.items():
        assert decisive.channels, kind
        assert all(channel(name) is not None for name in decisive.channels), kind


def test_decisive_hours_come_from_the_shortest_evidence() -> None:
    start_s, end_s = decisive_hours(a_finding(), (), timezone=ZONE, end_s=at(12, 31))
    assert start_s <= at(5, 17, 12) < at(5, 17, 15) <= end_s
    assert end_s - start_s <= 30 * 3600


def test_decisive_hours_without_short_evidence_are_the_day_of_greatest_loss() -> None:
    finding = a_finding(evidence=())
    report = a_report()
    start_s, _ = decisive_hours(finding, report.days, timezone=ZONE, end_s=report.end_s)
    inside = [d for d in report.days if "2025-05-03" <= d.date <= "2025-06-04"]
    worst = max(inside, key=lambda d: (d.expected_kwh or 0) - (d.delivered_kwh or 0))
    # Local midnight in summer time is 23:00 UTC of the day before.
    assert start_s == at(*(int(part) for part in worst.date.split("-")[1:])) - 3600


def test_decisive_hours_of_a_night_kind_run_from_noon_to_noon() -> None:
    finding = a_finding(kind="reverse_circulation", evidence=(), start_s=at(12, 1), end_s=None)
    report = a_report()
    start_s, end_s = decisive_hours(finding, report.days, timezone="UTC", end_s=report.end_s)
    assert start_s % 86400 == 43200
    assert end_s - start_s == 86400


def test_the_strip_frames_one_year_however_it_is_folded() -> None:
    for folds in (1, 2, 4):
        rows = frame(first=date(2024, 3, 10), folds=folds)
        assert rows[0].first == date(2024, 3, 10)
        assert rows[-1].last == date(2025, 3, 9)
        assert sum(row.days for row in rows) == 365
        assert all(row.x(row.last) + row.pitch <= row.width + 1e-6 for row in rows)
        assert all(b.first - a.last == timedelta(days=1) for a, b in pairwise(rows))


def test_a_whole_calendar_year_fills_its_strip_leap_years_too() -> None:
    for year, length in ((2024, 366), (2025, 365)):
        begin = first_day(first=date(year, 1, 1), last=date(year, 12, 31))
        assert begin == date(year, 1, 1)
        assert frame(first=begin, folds=1)[0].days == length


def test_a_young_log_fills_its_strip_from_the_left() -> None:
    assert first_day(first=date(2025, 5, 20), last=date(2025, 8, 1)) == date(2025, 5, 1)
    assert first_day(first=date(2023, 5, 20), last=date(2025, 8, 1)) == date(2024, 8, 2)
    assert first_day(first=date(2023, 5, 20), last=date(2024, 2, 28)) == date(2023, 5, 1)


def test_the_strip_has_one_stroke_for_each_measured_day() -> None:
    report = a_report()
    svg = str(year_strip(report, titles={}, folds=(1,)))
    arrived = re.search(r'class="arrived" d="([^"]*)"', svg)
    assert arrived is not None
    visible = [day for day in report.days if (day.delivered_kwh or 0) > 0.01]
    assert arrived[1].count("M") == pytest.approx(len(visible), abs=6)
    gaps = re.search(r'class="gap"[^>]*d="([^"]*)"', svg)
    assert gaps is not None
    assert gaps[1].count("M") == 6


def test_the_strip_shows_lost_heat_only_under_a_costly_finding() -> None:
    bare = str(year_strip(a_report(findings=()), titles={}, folds=(1,)))
    assert 'class="lost" d=""' in bare
    one = str(year_strip(a_report(findings=(a_finding(),)), titles={}, folds=(1,)))
    lost = re.search(r'class="lost" d="([^"]*)"', one)
    assert lost is not None
    # 3 May to 4 June are 33 days; on the last one nothing may be missing.
    assert 28 <= lost[1].count("M") <= 33


def test_a_hostile_title_cannot_leave_the_drawing() -> None:
    svg = str(
        year_strip(
            a_report(),
            titles={"lost_circulation": "</svg><script>alert(1)</script>"},
            hrefs={0: '"><script>'},
        )
    )
    assert "<script" not in svg
    assert svg.count("</svg>") == 3


def test_brackets_put_the_most_urgent_first_and_end_with_the_data() -> None:
    report = a_report()
    items = spans(report.findings, timezone=ZONE, until=date(2025, 12, 31), titles={}, hrefs={})
    assert items[0].first == date(2025, 5, 3)
    lasting = next(item for item in items if item.lasting)
    assert lasting.last == date(2025, 12, 31)
    assert items[-1].quiet


def test_figures_of_an_empty_report_hold_no_numbers() -> None:
    report = an_empty_report()
    assert str(balance(report.totals)) == ""
    for size in SIZES:
        bars = drawn(heat_by_period(report, size, titles={})).data[0]
        assert all(value is None for value in bars.y)
    assert 'class="arrived" d=""' in str(year_strip(report, titles={}, folds=(4,)))
    assert 'class="arrived" d=""' in str(week_strip(report))


def test_figures_write_strict_json() -> None:
    record = a_record()
    columns = dict(record.columns)
    columns["flow"] = columns["flow"].copy()
    columns["flow"][5] = np.nan
    holed = Record(start_s=record.start_s, step_s=record.step_s, columns=columns, masked={})
    text = day_curves(holed, timezone=ZONE).to_json()
    assert json.loads(text, parse_constant=lambda name: pytest.fail(name))


def test_evidence_outside_the_drawn_hours_is_not_set_off() -> None:
    far = Evidence(what="x", start_s=at(8, 1), end_s=at(8, 1, 2), value=1.0, unit="h")
    finding = dataclasses.replace(a_finding(), evidence=(far,))
    hours = (at(5, 17), at(5, 18))
    figure = drawn(evidence(finding, a_record(), site=parse_site(site_file()), hours=hours))
    assert not [shape for shape in figure.layout.shapes if shape.type == "rect"]


series = st.lists(
    st.one_of(st.just(float("nan")), st.floats(-50, 250, allow_nan=False)), min_size=1, max_size=400
)


@settings(max_examples=150, deadline=None)
@given(series, st.integers(4, 60))
def test_reduction_never_loses_a_peak_and_never_invents_a_value(
    given_values: list[float], most: int
) -> None:
    values = np.array(given_values)
    time_s = np.arange(values.shape[0], dtype=np.int64) * 60
    short_s, short = min_max(time_s=time_s, values=values, most=most)
    assert short.shape[0] <= max(most, 0) or short.shape[0] == values.shape[0] <= most
    assert np.all(np.diff(short_s) > 0)
    assert np.array_equal(values[short_s // 60], short, equal_nan=True)
    if np.isfinite(values).any():
        assert np.nanmax(short) == np.nanmax(values)
        assert np.nanmin(short) == np.nanmin(values)


def test_against_a_promise_nothing_is_called_missing_on_one_day() -> None:
    report = a_report(days=a_year(weather=False), findings=(a_finding(),))
    assert 'class="lost" d=""' in str(year_strip(report, titles={}, folds=(1,)))


def test_heat_lost_from_the_store_is_not_drawn_as_missing_delivery() -> None:
    report = a_report(findings=(a_finding(kind="reverse_circulation"),))
    assert 'class="lost" d=""' in str(year_strip(report, titles={}, folds=(1,)))


def test_what_recurs_without_a_cost_is_named_once() -> None:
    again = tuple(
        a_finding(kind="stagnation", urgency="record", lost=None, start_s=at(m, 2), end_s=at(m, 4))
        for m in (5, 6, 7)
    )
    svg = str(year_strip(a_report(findings=again), titles={}, folds=(1,)))
    assert svg.count("Stagnation") == 1
    assert svg.count("bracket quiet") == 3


def test_a_short_silence_is_shown_with_both_its_edges_and_the_hole_set_off() -> None:
    finding = a_finding(kind="silence", start_s=at(5, 17, 3), end_s=at(5, 17, 18))
    hours = decisive_hours(finding, (), timezone="UTC", end_s=at(12, 31))
    assert hours == (at(5, 16, 15), at(5, 18, 6))
    figure = drawn(evidence(finding, a_record(), site=parse_site(site_file()), hours=hours))
    (hole,) = [shape for shape in figure.layout.shapes if shape.type == "rect"]
    assert (hole.x0, hole.x1) == ("2025-05-17 05:00:00", "2025-05-17 20:00:00")  # Berlin
    assert figure.layout.xaxis.range == ("2025-05-16 17:00:00", "2025-05-18 08:00:00")


def test_of_a_silence_that_goes_on_the_first_hours_without_rows_are_shown() -> None:
    finding = a_finding(kind="silence", end_s=None)
    start_s, end_s = decisive_hours(finding, (), timezone=ZONE, end_s=finding.start_s)
    assert start_s == finding.start_s - 12 * 3600
    assert end_s == finding.start_s + 30 * 3600


def test_a_sensor_that_broke_is_shown_in_the_hours_around() -> None:
    finding = a_finding(kind="sensor_fault", channel="collector")
    start_s, end_s = decisive_hours(finding, (), timezone=ZONE, end_s=at(12, 31))
    assert (start_s, end_s) == (finding.start_s - 18 * 3600, finding.start_s + 12 * 3600)


def test_frost_is_held_against_the_ice_point_of_the_stated_fluid() -> None:
    site = parse_site(site_file())
    hours = (at(5, 17), at(5, 18))
    figure = drawn(evidence(a_finding(kind="frost_risk"), a_record(), site=site, hours=hours))
    note = next(note for note in figure.layout.annotations if "freezes" in note.text)
    loop = site.loop
    assert note.y == ice_point_c(fluid=loop.fluid, concentration_frac=loop.concentration_frac)


def test_a_pump_that_is_not_logged_for_hours_is_not_filled_as_if_it_ran() -> None:
    whole = a_record()
    keep = np.r_[0:300, 420:1440]
    columns = {name: values[keep] for name, values in whole.columns.items()}
    holed = Record(
        start_s=whole.start_s[keep], step_s=whole.step_s[keep], columns=columns, masked={}
    )
    fills = {
        name: next(trace.fill for trace in drawn(day_curves(record, timezone=ZONE)).data
                   if trace.name == "pump command")
        for name, record in (("whole", whole), ("holed", holed))
    }  # fmt: skip
    assert fills == {"whole": "tozeroy", "holed": "none"}


def test_a_weaker_collector_is_shown_by_its_weeks_before_and_since() -> None:
    weaker = a_finding(kind="degraded_tubes", start_s=at(8, 20), end_s=None)
    stood = a_finding()  # from May to June the loop stood: these weeks say nothing of tubes
    report = a_report(findings=(stood, weaker))
    shown = course(weaker, report, titles={})
    assert shown is not None
    before, since = (trace.y[0] for trace in drawn(shown.figure).data[1:])
    sunny = [d for d in report.days if d.coverage >= 0.9 and (d.irradiation_kwh_m2 or 0) >= 3.0]
    old = [d for d in sunny if d.date < "2025-08-20" and not "2025-05-03" <= d.date <= "2025-06-04"]
    assert before == pytest.approx(
        100 * sum(d.delivered_kwh or 0 for d in old) / sum(d.expected_kwh or 0 for d in old)
    )
    assert since < before - 10
    assert f"{before:.0f} % until 20 August 2025" in shown.says
    assert course(weaker, a_report(days=a_year(weather=False)), titles={}) is None


def test_a_shortfall_is_shown_by_its_weeks_and_those_before() -> None:
    short = a_finding(kind="yield_shortfall", start_s=at(8, 20), end_s=at(10, 1))
    shown = course(short, a_report(findings=(short,)), titles={})
    assert shown is not None
    weeks = drawn(shown.figure).data[0].x
    first, last = weeks[0], weeks[-1]
    assert "2025-06-09" <= first < "2025-06-16"
    assert "2025-10-27" <= last < "2025-11-03"
    assert course(a_finding(), a_report(), titles={}) is None


def test_what_happens_at_night_is_shown_from_noon_to_noon() -> None:
    cold = Evidence(
        what="coldest loop temperature", start_s=at(2, 28, 1), end_s=at(2, 28, 8), value=-5.7,
        unit="°C",
    )  # fmt: skip
    finding = a_finding(kind="frost_risk", evidence=(cold,))
    hours = decisive_hours(finding, (), timezone="UTC", end_s=at(12, 31))
    assert hours == (at(2, 27, 12), at(2, 28, 12))


def test_stagnation_of_many_days_is_shown_by_the_hottest_of_them() -> None:
    report = a_report()
    finding = a_finding(kind="stagnation", evidence=(), lost=None)
    start_s, _ = decisive_hours(finding, report.days, timezone="UTC", end_s=report.end_s)
    inside = [d for d in report.days if "2025-05-03" <= d.date <= "2025-06-04"]
    hottest = max(inside, key=lambda d: d.peak_collector_c or 0.0)
    assert start_s == at(*(int(part) for part in hottest.date.split("-")[1:]))


def test_by_day_the_expected_heat_is_a_cap_that_leaves_the_bars_to_be_seen() -> None:
    by_day = drawn(heat_by_period(a_report(), "day", titles={}))
    by_week = drawn(heat_by_period(a_report(), "week", titles={}))
    modes = [
        next(trace.mode for trace in figure.data if trace.name == "expected")
        for figure in (by_day, by_week)
    ]
    assert modes == ["markers", "lines"]
    bars, caps = by_day.data[0], by_day.data[1]
    assert bars.x == caps.x


def test_the_sensor_in_question_stands_out_among_the_others() -> None:
    finding = a_finding(kind="sensor_fault", channel="collector")
    hours = (at(5, 17), at(5, 18))
    figure = drawn(evidence(finding, a_record(), site=parse_site(site_file()), hours=hours))
    widths = {trace.name: trace.line.width for trace in figure.data}
    assert [name for name, width in widths.items() if width == max(widths.values())] == [
        "collector"
    ]
