"""Days added up to weeks, months and years, for figures.

Errors that stay the same all year add linearly, so the bounds of a week or a year are the sums of
the bounds of their days. An unknown day adds nothing and is told by the coverage.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from typing import Literal

from analysis.results import DayFigure, MonthFigure, Report

Size = Literal["day", "week", "month", "year"]
SIZES: tuple[Size, ...] = ("day", "week", "month", "year")


@dataclass(frozen=True, slots=True, kw_only=True)
class Period:
    """Figures of one stretch of local days; None where nothing is known."""

    start: date
    days: int
    coverage: float
    delivered_kwh: float | None
    delivered_low_kwh: float | None
    delivered_high_kwh: float | None
    expected_kwh: float | None
    expected_low_kwh: float | None
    expected_high_kwh: float | None
    design_kwh: float | None


def periods(report: Report, size: Size) -> tuple[Period, ...]:
    """Give the report's days added up to periods of one size; months as the analysis gave them."""
    if size == "month" and report.months:
        days = Counter(day.date[:7] for day in report.days)
        return tuple(_of_month(month, days[month.month]) for month in report.months)
    grouped = groupby(report.days, key=lambda day: _start(date.fromisoformat(day.date), size))
    return tuple(_added(start, tuple(days)) for start, days in grouped)


def _start(when: date, size: Size) -> date:
    if size == "day":
        return when
    if size == "week":
        return when - timedelta(days=when.weekday())
    return when.replace(day=1) if size == "month" else when.replace(month=1, day=1)


def _added(start: date, days: tuple[DayFigure, ...]) -> Period:
    return Period(
        start=start,
        days=len(days),
        coverage=sum(day.coverage for day in days) / len(days),
        delivered_kwh=_sum(day.delivered_kwh for day in days),
        delivered_low_kwh=_sum(day.delivered_low_kwh for day in days),
        delivered_high_kwh=_sum(day.delivered_high_kwh for day in days),
        expected_kwh=_sum(day.expected_kwh for day in days),
        expected_low_kwh=_sum(day.expected_low_kwh for day in days),
        expected_high_kwh=_sum(day.expected_high_kwh for day in days),
        design_kwh=_sum(day.design_kwh for day in days),
    )


def _of_month(month: MonthFigure, days: int) -> Period:
    return Period(
        start=date.fromisoformat(f"{month.month}-01"),
        days=days,
        coverage=month.coverage,
        delivered_kwh=month.delivered_kwh,
        delivered_low_kwh=month.delivered_low_kwh,
        delivered_high_kwh=month.delivered_high_kwh,
        expected_kwh=month.expected_kwh,
        expected_low_kwh=month.expected_low_kwh,
        expected_high_kwh=month.expected_high_kwh,
        design_kwh=month.design_kwh,
    )


def _sum(values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return sum(known) if known else None
