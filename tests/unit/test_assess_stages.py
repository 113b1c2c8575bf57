"""Two stages, one answer: days observed one by one, stored and put together again."""

import json
from dataclasses import replace

import numpy as np
import pytest

from analysis import assess as stages
from analysis.assess import assess, observe
from analysis.day_rows import day_rows, numbers_of, table_from_rows
from analysis.days import DayTable, Happening, joined, part_of
from analysis.errors import RecordError
from analysis.faults._protocol import Observation
from analysis.results import RowCount, report_from_json, report_json
from analysis.site import Change
from dashboards.short_report import short_json, short_report
from fixtures.faults import Fault
from tests.build import (
    NO_SUN_LOG,
    PUMP_LOG,
    Plant,
    a_plant,
    a_record,
    a_report_of,
    a_site,
    asking,
    of_kind,
)

DAY_S = 86400
# What the loop did in these days: spring with the change of the clocks, and something of all kinds.
SPANS = {
    "clocks forward": {"start": "2025-03-26", "days": 7},
    "clocks back": {"start": "2025-10-23", "days": 6},
    "night heat, stuck sensor": {
        "start": "2025-05-01",
        "days": 10,
        "faults": (
            Fault(kind="reverse_circulation", start="2025-05-02", end="2025-05-06"),
            Fault(kind="sensor_stuck", start="2025-05-06", end="2025-05-09", channel="collector"),
        ),
    },
    "frost and standstill": {
        "start": "2025-03-01",
        "days": 7,
        "fluid": "water",
        "concentration_frac": 0.0,
        "faults": (Fault(kind="pump_dead", start="2025-03-04"),),
    },
    "full store": {
        "start": "2025-07-09",
        "days": 7,
        "tubes": 30,
        "volume_l": 200.0,
        "away": (("2025-07-09", "2025-07-14"),),
    },
    "registers, no sun": {
        "start": "2025-03-27",
        "days": 7,
        "channels": ("collector", "store_bottom", "heat_register", "flow_volume", "pump"),
        "log": {"register_zero_at": "2025-03-30"},
    },
    "pump log": {"start": "2025-03-27", "days": 7, "channels": PUMP_LOG},
}


def day_by_day(plant: Plant, *, days_at_once: int = 1) -> DayTable:
    """Observe as a service does: only some days at a time, each with a neighbour on both sides."""
    whole = plant.table(catalogue=()).days
    start = plant.record.start_s
    tables = []
    for first in range(0, len(whole), days_at_once):
        last = min(first + days_at_once, len(whole))
        first_s, last_s = int(whole.edge_s[first]), int(whole.edge_s[last])
        rows = np.searchsorted(start, [first_s - 90000, last_s + 90000])
        table = observe(
            site=plant.site,
            record=plant.record.part(int(rows[0]), int(rows[1])),
            channels=plant.channels,
        )
        place = [table.days.dates.index(whole.dates[row]) for row in (first, last - 1)]
        tables.append(part_of(table, first=place[0], last=place[1] + 1))
    return joined(tables, timezone=plant.site.place.timezone)


def assert_same(found: DayTable, wanted: DayTable) -> None:
    assert found.days.dates == wanted.days.dates
    np.testing.assert_array_equal(found.days.edge_s, wanted.days.edge_s)
    # A column without any value may be left out: asked for, it is unknown on all days.
    for name in set(found.columns) | set(wanted.columns):
        np.testing.assert_allclose(
            found.column(name),
            wanted.column(name),
            rtol=1e-9,
            atol=1e-9,
            err_msg=name,
            equal_nan=True,
        )
    assert len(found.happenings) == len(wanted.happenings)
    for one, other in zip(found.happenings, wanted.happenings, strict=True):
        assert one._replace(values={}) == other._replace(values={})
        assert one.values == pytest.approx(other.values, rel=1e-9, abs=1e-9, nan_ok=True)


@pytest.mark.parametrize("span", SPANS)
def test_days_observed_one_by_one_give_the_table_of_one_pass(span):
    plant = a_plant(**SPANS[span])
    assert_same(day_by_day(plant), plant.table())


def test_three_days_at_a_time_give_it_too():
    plant = a_plant(**SPANS["night heat, stuck sensor"])
    assert_same(day_by_day(plant, days_at_once=3), plant.table())


def test_a_long_record_is_cut_without_a_trace(monkeypatch):
    plant = a_plant(**SPANS["clocks forward"])
    whole = plant.table()
    monkeypatch.setattr(stages, "_CHUNK_DAYS", 2)
    assert_same(plant.table(), whole)


@pytest.mark.parametrize("failing", range(4))
def test_what_fails_in_any_part_of_a_long_record_is_not_passed_over(monkeypatch, failing):
    plant = a_plant(**SPANS["clocks forward"])
    monkeypatch.setattr(stages, "_CHUNK_DAYS", 2)
    middle = plant.table().days.dates[2 * failing]

    class Failing:
        kind = "failing"

        def observe(self, case):
            # A part has a neighbouring day on both sides.
            if middle == case.days.dates[1 if failing else 0]:
                raise RecordError("planted")
            return Observation()

    with pytest.raises(RecordError, match="planted"):
        plant.table(catalogue=(Failing(),))


def stored(rows):
    """Give rows as a database does: their numbers are bytes, the rest goes through JSON."""
    texts = [json.dumps({**row, "numbers": None}, allow_nan=False) for row in rows]
    return [
        {**json.loads(text), "numbers": row["numbers"]}
        for text, row in zip(texts, rows, strict=True)
    ]


@pytest.mark.parametrize("span", SPANS)
def test_a_stored_table_is_the_table(span):
    table = a_plant(**SPANS[span]).table()
    rows = stored(day_rows(table))
    assert_same(table_from_rows(rows, timezone="Europe/London"), table)


@pytest.mark.parametrize("span", SPANS)
def test_a_stored_table_gives_the_same_report(span):
    plant = a_plant(**SPANS[span])
    table = plant.table()
    rows = stored(day_rows(table))
    again = table_from_rows(rows, timezone="Europe/London")
    assert report_json(plant.report(table=again)) == report_json(plant.report(table=table))


def test_what_a_happening_does_not_know_is_unknown_again():
    table = a_plant(**SPANS["clocks forward"]).table()
    day, start_s = table.days.dates[2], int(table.days.edge_s[2])
    values = {"hours": 2.0, "excess_k": float("nan")}
    seen = Happening("stagnation", day, start_s, start_s + 60, values, "collector")
    again = table_from_rows(
        stored(day_rows(replace(table, happenings=(seen,)))), timezone="Europe/London"
    )
    (found,) = again.happenings
    assert found._replace(values={}) == seen._replace(values={})
    assert found.values == pytest.approx(values, nan_ok=True)


def test_days_that_no_table_has_are_unknown():
    table = a_plant(**SPANS["clocks forward"]).table()
    rows = [row for row in day_rows(table) if row["date"] != "2025-03-28"]
    again = table_from_rows(rows, timezone="Europe/London")
    place = again.days.dates.index("2025-03-28")
    assert again.days.dates == table.days.dates
    assert all(np.isnan(values[place]) for values in again.columns.values())


def test_a_later_table_wins_where_two_hold_the_same_day():
    table = a_plant(**SPANS["clocks forward"]).table()
    other = DayTable(
        days=table.days,
        columns={"heat_kwh": np.full(len(table.days), 7.0)},
        happenings=(),
    )
    both = joined([table, part_of(other, first=3, last=4)], timezone="Europe/London")
    assert both.columns["heat_kwh"][3] == 7.0
    assert both.columns["heat_kwh"][2] == table.columns["heat_kwh"][2]
    assert not [item for item in both.happenings if item.date == table.days.dates[3]]


@pytest.mark.parametrize("span", SPANS)
def test_a_report_is_read_back_as_it_was_written(span):
    written = report_json(a_plant(**SPANS[span]).report())
    text = json.dumps(written, allow_nan=False)
    assert report_json(report_from_json(json.loads(text))) == written


def test_a_report_keeps_the_published_keys():
    written = report_json(a_plant(**SPANS["night heat, stuck sensor"]).report())
    assert {
        "schema", "site", "from", "to", "basis", "rows", "rejected", "days", "months", "totals",
        "findings", "condition", "savings",
    } <= set(written)  # fmt: skip
    assert {"heat", "weather", "design"} <= set(written["basis"])
    assert {
        "date", "coverage", "delivered_kwh", "delivered_low_kwh", "delivered_high_kwh",
        "irradiation_kwh_m2", "expected_kwh", "expected_low_kwh", "expected_high_kwh",
        "design_kwh", "pump_kwh", "peak_collector_c",
    } <= set(written["days"][0])  # fmt: skip
    assert {
        "month", "coverage", "delivered_kwh", "delivered_low_kwh", "delivered_high_kwh",
        "expected_kwh", "expected_low_kwh", "expected_high_kwh", "design_kwh",
    } <= set(written["months"][0])  # fmt: skip
    assert {
        "delivered_kwh", "delivered_low_kwh", "delivered_high_kwh", "expected_kwh", "design_kwh",
        "pump_kwh", "coverage",
    } <= set(written["totals"])  # fmt: skip
    assert {
        "kind", "start", "end", "urgency", "certainty", "channel", "lost_kwh", "lost_low_kwh",
        "lost_high_kwh", "summary", "evidence", "likely_causes", "check_next", "cautions",
    } <= set(written["findings"][0])  # fmt: skip
    assert set(written["findings"][0]["evidence"][0]) == {"what", "from", "to", "value", "unit"}
    assert {
        "useful_kwh", "fuel_kwh", "fuel_low_kwh", "fuel_high_kwh", "money", "pump_cost",
        "money_net", "money_net_low", "money_net_high", "currency", "co2_kg", "co2_low_kg",
        "co2_high_kg",
    } <= set(written["savings"])  # fmt: skip


def test_an_empty_record_is_refused():
    empty = a_record(rows=0, collector=20.0)
    with pytest.raises(RecordError):
        observe(site=a_site(), record=empty, channels=frozenset({"collector"}))


def test_days_hold_23_24_and_25_hours():
    spring = a_plant(**SPANS["clocks forward"]).table()
    autumn = a_plant(**SPANS["clocks back"]).table()
    hours = dict(zip(spring.days.dates, spring.column("length_s") / 3600.0, strict=True))
    hours |= dict(zip(autumn.days.dates, autumn.column("length_s") / 3600.0, strict=True))
    assert hours["2025-03-29"] == 24.0
    assert hours["2025-03-30"] == 23.0
    assert hours["2025-10-26"] == 25.0
    for day in spring.column("known_s") / spring.column("length_s"):
        assert day == pytest.approx(1.0, abs=1e-9)


def test_facts_hold_from_the_day_of_their_change():
    """A flow that was set anew counts from its day on where heat rests on the commissioned flow."""
    plant = a_plant(
        start="2025-05-01", days=20, channels=("pump", "loop_hot", "loop_cold", "collector")
    )
    at_day = plant.table(catalogue=()).days.dates.index("2025-05-11")
    doubled = Change(
        date=plant.run.first_day.replace(day=11), key="loop.flow_l_min", value=3.2, why=None
    )
    changed = replace(plant, site=replace(plant.site, changes=(doubled,)))
    before, after = plant.table().column("heat_kwh"), changed.table().column("heat_kwh")
    np.testing.assert_allclose(after[:at_day], before[:at_day], rtol=1e-12)
    np.testing.assert_allclose(after[at_day:], 2.0 * before[at_day:], rtol=1e-9)


def test_coverage_counts_to_the_end_of_the_span_that_was_looked_at():
    plant = a_plant(days=5)
    report = plant.report()
    assert report.totals.coverage == pytest.approx(1.0, abs=1e-9)
    longer = assess(
        site=plant.site,
        table=plant.table(),
        start_s=report.start_s,
        end_s=report.end_s + 5 * DAY_S,
        until_s=report.end_s + 5 * DAY_S,
        channels=plant.channels,
        rows=RowCount(read=0, kept=0, duplicate=0, rejected=0),
        rejected=(),
    )
    assert longer.totals.coverage == pytest.approx(0.5, abs=1e-9)


def test_a_log_that_stopped_is_worried_about_only_after_days():
    plant = a_plant(days=5)
    soon = plant.report(until_s=plant.end_s + 2 * DAY_S)
    late = plant.report(until_s=plant.end_s + 8 * DAY_S)
    assert of_kind(soon, "silence") == ()
    (quiet,) = of_kind(late, "silence")
    assert quiet.end_s is None
    assert quiet.start_s == plant.end_s


def test_what_the_report_leaves_out_is_said():
    elsewhere = {"timezone": "UTC"}  # a British place would have a coarse climate
    plant = a_plant(
        days=6, channels=NO_SUN_LOG, site={"design": None, "backup": None, "place": elsewhere}
    )
    report = plant.report()
    said = " ".join(report.basis.notes)
    assert report.basis.weather is None
    assert report.basis.design is None
    assert report.savings is None
    for word in ("expected", "design", "savings"):
        assert word in said


def test_a_log_without_heat_has_unknown_heat_and_still_a_report():
    plant = a_plant(days=6, channels=("store_top", "ambient"))
    report = plant.report()
    assert report.basis.heat is None
    assert report.totals.delivered_kwh is None
    assert all(day.delivered_kwh is None for day in report.days)
    assert asking(report) == []
    assert (
        a_report_of(
            site=plant.site, table=plant.table(), record=plant.record, channels=plant.channels
        )
        == report
    )


def test_a_day_says_the_same_far_from_one_of_25_hours():
    # The grid of all days is as wide as the longest; the clock changes on 2025-10-26.
    plant = a_plant(start="2025-10-12", days=16)
    whole = plant.table()
    first = np.searchsorted(plant.record.start_s, whole.days.edge_s[8])
    alone = observe(
        site=plant.site, record=plant.record.part(0, int(first)), channels=plant.channels
    )
    assert np.isfinite(alone.column("clock_roof_s")).any()
    assert_same(part_of(alone, first=0, last=7), part_of(whole, first=0, last=7))


def test_rows_of_an_older_version_give_the_same_table():
    """They had their numbers as digits, or by name, and what was unknown left out."""
    table = a_plant(**SPANS["clocks forward"]).table()
    rows = day_rows(table)
    oldest = [
        {"date": row["date"], "columns": numbers_of(row), "happenings": row["happenings"]}
        for row in rows
    ]
    older = [{**row, "values": row["numbers"].hex()} for row in rows]
    for row in older:
        del row["numbers"]
    for found in (oldest, older, [oldest[0], older[1], *rows[2:]]):
        assert_same(table_from_rows(found, timezone="Europe/London"), table)


@pytest.mark.parametrize("span", SPANS)
def test_the_short_report_is_written_from_the_whole_one(span):
    report = a_plant(**SPANS[span]).report()
    whole = report_json(report)
    assert short_json(report, whole) == report_json(short_report(report))
