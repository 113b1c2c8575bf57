"""The short report: what lists of many sites need of one, so that they need not read ten years."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from analysis.results import Report, report_json
from dashboards.figures.week_strip import WEEKS
from dashboards.format import local_date


def short_report(report: Report) -> Report:
    """Give the report with the days that a list shows, and without what only its own pages show.

    Kept are the weeks of the strip, and the days since the oldest finding that lasts, over which
    its loss is spread (`losses.recent_loss`); the strip is at least as long as what counts as
    recent.
    """
    first = _first_day(report)
    return replace(
        report,
        days=tuple(day for day in report.days if day.date >= first),
        rejected=(),
        months=(),
        condition=None,
        field_check=None,
        clear_seasons=(),
        year=None,
        design=None,
        readings=(),
        ledger=None,
        years=(),
    )


def short_json(report: Report, whole: Mapping[str, Any]) -> dict[str, Any]:
    """Give the short report as `report_json` does, its days from the JSON of the whole one."""
    first = _first_day(report)
    return {
        **report_json(replace(short_report(report), days=())),
        "days": [day for day in whole["days"] if day["date"] >= first],
    }


def _first_day(report: Report) -> str:
    if not report.days:
        return ""
    last = date.fromisoformat(report.days[-1].date)
    monday = last - timedelta(days=last.weekday(), weeks=WEEKS - 1)
    begun = (
        local_date(one.start_s, report.timezone) for one in report.findings if one.end_s is None
    )
    return min([monday, *begun]).isoformat()
