"""The course of the weeks around a finding that no single day can prove.

A collector that weakened and heat that stayed behind show themselves over weeks: as output over
expected before and after, and as delivered beside expected heat.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from analysis.results import DayFigure, Finding, Report
from dashboards.figures.figure import Figure
from dashboards.figures.heat_by_period import heat_by_period
from dashboards.figures.layout import axis, layout, titled
from dashboards.format import day, local_date, number
from dashboards.theme import var

_BEFORE, _AFTER = timedelta(weeks=10), timedelta(weeks=4)
# Days that say something of the collector: sunny, and logged nearly whole.
_SUNNY_KWH_M2 = 3.0
_LEAST_COVERAGE = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """A figure of weeks and what it shows, in a sentence."""

    figure: Figure
    says: str


def course(finding: Finding, report: Report, *, titles: Mapping[str, str]) -> Course | None:
    """Draw the weeks before and during a finding; None where its kind needs none."""
    if finding.kind == "degraded_tubes":
        return _output(finding, report)
    if finding.kind == "yield_shortfall":
        return _heat(finding, report, titles)
    return None


def _heat(finding: Finding, report: Report, titles: Mapping[str, str]) -> Course | None:
    first, last = _span(finding, report)
    near = [
        item
        for item in report.days
        if first - _BEFORE <= date.fromisoformat(item.date) <= last + _AFTER
    ]
    if not any(item.expected_kwh is not None for item in near):
        return None
    part = replace(report, days=tuple(near), months=(), findings=(finding,))
    return Course(
        figure=heat_by_period(part, "week", titles=titles),
        says="Week by week: the heat that came, and what a healthy collector would have given in "
        "the same weather.",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Week:
    """Sums over the sunny days of a week."""

    monday: date
    days: int
    delivered_kwh: float
    expected_kwh: float

    @property
    def percent(self) -> float:
        """Delivered over expected [%]."""
        return 100.0 * self.delivered_kwh / self.expected_kwh


def _output(finding: Finding, report: Report) -> Course | None:
    first, last = _span(finding, report)
    others = [_span(one, report) for one in report.findings if _disturbs(one, finding)]
    sunny = [item for item in report.days if _tells(item, others)]
    sound = [item for item in sunny if date.fromisoformat(item.date) < first]
    since = [item for item in sunny if first <= date.fromisoformat(item.date) <= last]
    if not sound or not since:
        return None
    before, after = _percent(sound), _percent(since)
    weeks = _weeks(sunny)
    levels = (
        ("sound days", before, date.fromisoformat(sound[0].date), first, "delivered_ink"),
        ("since then", after, first, last, "finding"),
    )
    values = [week.percent for week in weeks]
    figure = _drawn(
        [_points(weeks), *(_level(*level) for level in levels)],
        low=min(80.0, min(values) - 3.0), high=max(110.0, max(values) + 3.0),
        first=first, last=last,
    )  # fmt: skip
    return Course(
        figure=figure,
        says=f"Delivered over expected on sunny days: {number(before)} % until {day(first)}, "
        f"{number(after)} % since then. What counts is the step: errors that stay the same all "
        "year lift or lower both alike.",
    )


def _disturbs(one: Finding, finding: Finding) -> bool:
    """Tell whether another finding takes heat of its own from the days it touches."""
    return one.kind != finding.kind and one.urgency in ("act", "visit") and one.lost is not None


def _tells(item: DayFigure, others: list[tuple[date, date]]) -> bool:
    when = date.fromisoformat(item.date)
    return not any(first <= when <= last for first, last in others) and (
        item.coverage >= _LEAST_COVERAGE
        and (item.irradiation_kwh_m2 or 0.0) >= _SUNNY_KWH_M2
        and item.delivered_kwh is not None
        and (item.expected_kwh or 0.0) > 0.0
    )


def _percent(days: list[DayFigure]) -> float:
    delivered = sum(item.delivered_kwh or 0.0 for item in days)
    return 100.0 * delivered / sum(item.expected_kwh or 0.0 for item in days)


def _weeks(days: list[DayFigure]) -> list[_Week]:
    groups: dict[date, list[DayFigure]] = {}
    for item in days:
        when = date.fromisoformat(item.date)
        groups.setdefault(when - timedelta(days=when.weekday()), []).append(item)
    return [
        _Week(
            monday=monday,
            days=len(part),
            delivered_kwh=sum(item.delivered_kwh or 0.0 for item in part),
            expected_kwh=sum(item.expected_kwh or 0.0 for item in part),
        )
        for monday, part in sorted(groups.items())
    ]


def _span(finding: Finding, report: Report) -> tuple[date, date]:
    end_s = report.end_s if finding.end_s is None else finding.end_s
    zone = report.timezone
    return local_date(finding.start_s, zone), local_date(max(end_s - 1, finding.start_s), zone)


def _points(weeks: list[_Week]) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "markers",
        "name": "sunny days of a week",
        "x": [f"{week.monday + timedelta(days=3)} 12:00" for week in weeks],
        "y": [round(week.percent, 1) for week in weeks],
        "marker": {"color": var("delivered"), "size": 9},
        "customdata": [f"week from {day(w.monday)}, sunny days: {w.days}" for w in weeks],
        "hovertemplate": "%{customdata}<br>%{y:.0f} %<extra></extra>",
    }


def _level(name: str, percent: float, first: date, last: date, colour: str) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": f"{name}: {number(percent)} %",
        "x": [first.isoformat(), last.isoformat()],
        "y": [percent, percent],
        "line": {"color": var(colour), "width": 2.4},
        "hoverinfo": "skip",
    }


def _drawn(
    traces: list[dict[str, Any]], *, low: float, high: float, first: date, last: date
) -> Figure:
    return Figure(
        data=traces,
        layout=layout(
            height=320,
            hovermode="closest",
            xaxis=axis(type="date", showgrid=False, fixedrange=True),
            yaxis=axis(
                title=titled("delivered over expected [%]"), range=[low, high], fixedrange=True
            ),
            shapes=[{
                "type": "rect", "xref": "x", "yref": "paper", "y0": 0, "y1": 1, "layer": "below",
                "x0": first.isoformat(), "x1": last.isoformat(),
                "fillcolor": var("finding_soft"), "line": {"width": 0},
            }],
        ),
    )  # fmt: skip
