"""The short report: what lists of many sites need of one, so that they need not read ten years."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from analysis.results import Report
from dashboards.figures.week_strip import WEEKS
from dashboards.format import local_date

# What only a site's own pages show, under the same names in the report and in its JSON.
_LEFT_OUT: Mapping[str, tuple[()] | None] = {
    "rejected": (),
    "months": (),
    "condition": None,
    "field_check": None,
    "clear_seasons": (),
    "year": None,
    "design": None,
    "readings": (),
    "ledger": None,
    "years": (),
}


def short_report(report: Report) -> Report:
    """Give the report with the days that a list shows, and without what only its own pages show.

    Kept are the weeks of the strip, and the days since the oldest finding that lasts, over which
    its loss is spread (`losses.recent_loss`); the strip is at least as long as what counts as
    recent.
    """
    first = _first_day(report)
    left_out: dict[str, Any] = dict(_LEFT_OUT)
    return replace(report, days=tuple(day for day in report.days if day.date >= first), **left_out)


def short_json(report: Report, whole: Mapping[str, Any]) -> dict[str, Any]:
    """Give the short report as `report_json` does, from the JSON of the whole one."""
    first = _first_day(report)
    nothing: dict[str, Any] = {
        name: None if value is None else [] for name, value in _LEFT_OUT.items()
    }
    return {**whole, **nothing, "days": [day for day in whole["days"] if day["date"] >= first]}


def _first_day(report: Report) -> str:
    if not report.days:
        return ""
    last = date.fromisoformat(report.days[-1].date)
    monday = last - timedelta(days=last.weekday(), weeks=WEEKS - 1)
    begun = (
        local_date(one.start_s, report.timezone) for one in report.findings if one.end_s is None
    )
    return min([monday, *begun]).isoformat()
