"""The machine report of the contract: its keys, their sorts, and sums that must agree.

Two months of an invented home, simulated; its pump dies in the second.
"""

import contextlib
import io
import json
from datetime import datetime, timedelta
from functools import lru_cache
from itertools import pairwise

import pytest

from analysis.results import report_from_json
from dashboards.report_text import rank
from fixtures.logfile import tidy_csv
from fixtures.scenario import Fault, home, site_toml
from fixtures.sensors import observe
from fixtures.simulate import simulate
from service.cli import main
from tests.build_command import Desk

# The example of the contract, word for word.
EXAMPLE = json.loads("""
{
 "schema": 1,
 "site": "Mill Lane 4",
 "from": "2025-01-01T00:00:00Z", "to": "2026-01-01T00:00:00Z",
 "basis": {"heat": "flow_and_temperatures", "weather": "irradiance_plane", "design": "given"},
 "rows": {"read": 525600, "kept": 525480, "duplicate": 60, "rejected": 60},
 "rejected": [{"file": "log.csv", "line": 812, "column": "t_collector_c", "why": "..."}],
 "days": [{"date": "2025-06-01", "coverage": 0.998,
           "delivered_kwh": 5.31, "delivered_low_kwh": 4.62, "delivered_high_kwh": 6.00,
           "irradiation_kwh_m2": 5.9,
           "expected_kwh": 5.6, "expected_low_kwh": 5.1, "expected_high_kwh": 6.0,
           "design_kwh": 4.7, "pump_kwh": 0.31, "peak_collector_c": 96.4}],
 "months": [{"month": "2025-06", "coverage": 0.99, "delivered_kwh": 141.0,
             "delivered_low_kwh": 123.0, "delivered_high_kwh": 159.0,
             "expected_kwh": 150.2, "expected_low_kwh": 141.0, "expected_high_kwh": 159.5,
             "design_kwh": 140.0}],
 "totals": {"delivered_kwh": 981.0, "delivered_low_kwh": 853.0, "delivered_high_kwh": 1109.0,
            "expected_kwh": 1040.0, "design_kwh": 981.0, "pump_kwh": 52.0, "coverage": 0.998},
 "findings": [{"kind": "lost_circulation", "start": "2025-05-03T08:10:00Z", "end": null,
               "urgency": "visit", "certainty": 0.97, "channel": null, "lost_kwh": 312.0,
               "lost_low_kwh": 250.0, "lost_high_kwh": 370.0, "summary": "...",
               "evidence": [{"what": "...", "from": "...", "to": "...", "value": 0.0,
                             "unit": "..."}],
               "likely_causes": ["..."], "check_next": ["..."], "cautions": ["..."]}],
 "condition": {"tubes_working": {"value": 19.6, "low": 18.4, "high": 20.0},
               "eta0": {"value": 0.71, "low": 0.68, "high": 0.73},
               "a1_w_m2k": {"value": 1.5, "low": 1.2, "high": 1.9}, "as_of": "2025-12-31"},
 "savings": {"useful_kwh": 800.0, "fuel_kwh": 952.0, "fuel_low_kwh": 810.0,
             "fuel_high_kwh": 1095.0, "money": 66.7, "pump_cost": 14.0, "money_net": 52.6,
             "money_net_low": 42.0, "money_net_high": 63.0, "currency": "GBP", "co2_kg": 192.9,
             "co2_low_kg": 165.0, "co2_high_kg": 222.0}
}
""")
SUMMED = ("delivered_kwh", "expected_kwh", "pump_kwh")


@lru_cache(maxsize=1)
def two_months() -> tuple[str, str]:
    """Give site file and log, with one cell that is no number and a row given twice."""
    scenario = home(faults=(Fault(kind="pump_dead", start="2025-05-10T09:00"),))
    run = simulate(scenario, seed=5, start="2025-04-01", days=61)
    lines = tidy_csv(observe(run, seed=5, sensors="site", step_s=600)).decode().splitlines()
    cells = lines[812 - 1].split(",")
    lines[812 - 1] = ",".join([cells[0], "8O.5", *cells[2:]])
    return site_toml(scenario), "\n".join([*lines, lines[100]]) + "\n"


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    folder = tmp_path_factory.mktemp("two-months")
    site, log = two_months()
    (folder / "site.toml").write_text(site, encoding="utf-8")
    (folder / "log.csv").write_text(log, encoding="utf-8")
    with contextlib.redirect_stdout(io.StringIO()) as out:
        status = main(["report", str(folder / "site.toml"), str(folder / "log.csv"), "--json", "-"])
    assert status == 1
    return json.loads(out.getvalue())


def differences(example: object, found: object, place: str = "report") -> list[str]:
    """Name every key that is missing and every value of another sort, nulls aside."""
    if found is None and place != "report":
        return []
    if isinstance(example, dict):
        if not isinstance(found, dict):
            return [f"{place} is no object"]
        wrong = [f"{place}.{key} is missing" for key in example if key not in found]
        for key in example.keys() & found.keys():
            wrong += differences(example[key], found[key], f"{place}.{key}")
        return wrong
    if isinstance(example, list):
        if not isinstance(found, list):
            return [f"{place} is no list"]
        return [line for one in found for line in differences(example[0], one, f"{place}[]")]
    number = isinstance(example, (int, float)) and isinstance(found, (int, float))
    if example is None or (number and not isinstance(found, bool)):
        return []
    return [] if type(example) is type(found) else [f"{place} is {found!r}"]


def test_every_key_of_the_contract_is_there_with_its_sort(report):
    assert differences(EXAMPLE, report) == []
    assert report["schema"] == 1
    for part in ("rejected", "days", "months", "findings", "condition", "savings"):
        assert report[part], part


def test_counts_stay_whole_numbers_and_add_up(report):
    rows = report["rows"]
    assert all(type(count) is int for count in rows.values())
    assert rows["read"] == rows["kept"] + rows["duplicate"] + rows["rejected"]
    assert rows["duplicate"] == 1
    (bad,) = report["rejected"]
    assert (bad["file"], bad["line"], bad["column"]) == ("log.csv", 812, "t_collector_c")
    assert "8O.5" in bad["why"]


def test_days_follow_each_other_and_bounds_hold_their_value(report):
    dates = [datetime.fromisoformat(day["date"]) for day in report["days"]]
    assert all(b - a == timedelta(days=1) for a, b in pairwise(dates))
    for row in (*report["days"], *report["months"], report["totals"]):
        assert 0.0 <= row["coverage"] <= 1.0
        for name in ("delivered", "expected"):
            low, value, high = (row[f"{name}{end}_kwh"] for end in ("_low", "", "_high"))
            assert (value is None) == (low is None) == (high is None)
            assert value is None or low <= value <= high


@pytest.mark.parametrize("key", SUMMED)
def test_months_and_totals_are_sums_of_days(report, key):
    def total(rows: list[dict]) -> float:
        return sum(row[key] for row in rows if row[key] is not None)

    assert total(report["days"]) == pytest.approx(report["totals"][key], abs=0.01)
    for month in report["months"]:
        days = [day for day in report["days"] if day["date"].startswith(month["month"])]
        assert total(days) == pytest.approx(month[key], abs=0.01)


def test_errors_that_stay_all_year_are_added_never_averaged_away(report):
    widths = [
        day["delivered_high_kwh"] - day["delivered_low_kwh"]
        for day in report["days"]
        if day["delivered_kwh"] is not None and day["date"] < "2025-05-10"
    ]
    april, _ = report["months"]
    total = april["delivered_high_kwh"] - april["delivered_low_kwh"]
    assert total > 0.85 * sum(widths[:30])
    assert total <= 1.001 * sum(widths[:30])


def test_the_promise_of_a_whole_month_is_that_of_the_site_file(report):
    assert report["months"][0]["design_kwh"] == pytest.approx(112.0)
    april = [day["design_kwh"] for day in report["days"] if day["date"].startswith("2025-04")]
    assert april == pytest.approx([112.0 / 30] * 30, abs=1e-3)


def test_a_finding_lasts_has_its_cost_between_bounds_and_says_what_to_do(report):
    dead = next(item for item in report["findings"] if item["kind"] == "lost_circulation")
    assert dead["start"].startswith(("2025-05-10", "2025-05-11", "2025-05-12"))
    assert dead["end"] is None
    assert dead["urgency"] in ("act", "visit")
    assert 0 < dead["certainty"] <= 1
    assert 0 <= dead["lost_low_kwh"] <= dead["lost_kwh"] <= dead["lost_high_kwh"]
    for part in ("evidence", "likely_causes", "check_next", "cautions"):
        assert dead[part], part
    for item in dead["evidence"]:
        assert report["from"] <= item["from"] <= item["to"] <= report["to"]


def test_the_condition_lies_between_its_bounds(report):
    state = report["condition"]
    for name in ("eta0", "a1_w_m2k", "tubes_working"):
        if state[name] is not None:
            assert state[name]["low"] <= state[name]["value"] <= state[name]["high"]
    assert report["days"][0]["date"] <= state["as_of"] <= report["days"][-1]["date"]


def test_savings_stand_between_their_bounds(report):
    saved = report["savings"]
    for low, value, high in (
        ("fuel_low_kwh", "fuel_kwh", "fuel_high_kwh"),
        ("money_net_low", "money_net", "money_net_high"),
        ("co2_low_kg", "co2_kg", "co2_high_kg"),
    ):
        assert saved[low] <= saved[value] <= saved[high]
    assert saved["useful_kwh"] <= report["totals"]["delivered_kwh"]


def test_what_is_not_known_is_null_and_never_zero(tmp_path, capsys):
    site, log = two_months()
    rows = [line.split(",") for line in log.splitlines()]
    kept = [rows[0].index(head) for head in ("time", "t_collector_c", "t_store_bottom_c")]
    bare = "\n".join(",".join(row[place] for place in kept) for row in rows[:1000])
    found = Desk(tmp_path, capsys).report(site, bare).report
    assert found["basis"]["heat"] is None
    assert found["savings"] is None
    for row in (*found["days"], *found["months"], found["totals"]):
        for key, value in row.items():
            if key.startswith(("delivered", "expected", "pump", "irradiation")):
                assert value is None, key
    assert found["days"][0]["peak_collector_c"] is not None


def test_the_text_names_the_most_urgent_finding_first(report, tmp_path, capsys):
    site, log = two_months()
    desk = Desk(tmp_path, capsys)
    text = desk.run(desk.put("site.toml", site), desk.put("log.csv", log)).out
    first = sorted(report_from_json(report).findings, key=rank)[0]
    assert " ".join(first.summary.split()) in " ".join(text.split())
    assert text.index("FINDINGS") < text.index("  1. ") < text.index("LOGS, as they were read")
    assert "log.csv, line 812, column t_collector_c: '8O.5' is not a number" in text
