"""What open findings have cost, so far and lately, and how sites rank by it."""

from collections.abc import Iterable
from datetime import date, timedelta

from analysis.results import Bounded, Finding, Report
from dashboards.format import URGENCY_RANK, local_date

RECENT_DAYS = 30
# What these kinds cost is lost from the store, not missing from the day's delivery.
FROM_THE_STORE = frozenset({"reverse_circulation", "night_running", "store_overheat"})


def open_findings(report: Report) -> tuple[Finding, ...]:
    """Give the findings that last, most urgent and most costly first."""
    lasting = (finding for finding in report.findings if finding.end_s is None)
    return tuple(sorted(lasting, key=rank))


def rank(finding: Finding) -> tuple[int, float]:
    """Give the sort key: urgency first, then heat lost."""
    return URGENCY_RANK[finding.urgency], -(finding.lost.value if finding.lost else 0.0)


def total(bounds: Iterable[Bounded | None]) -> Bounded | None:
    """Add losses up; bounds add linearly, because one sensor's error is in all of them."""
    known = [bound for bound in bounds if bound is not None]
    if not known:
        return None
    return Bounded(
        value=sum(bound.value for bound in known),
        low=sum(bound.low for bound in known),
        high=sum(bound.high for bound in known),
    )


def recent_loss(report: Report, finding: Finding) -> Bounded | None:
    """Give the part of a finding's loss that fell into the report's last 30 days."""
    if not report.days:
        return None
    last = date.fromisoformat(report.days[-1].date)
    return loss_within(report, finding, first=last - timedelta(days=RECENT_DAYS - 1), last=last)


def loss_within(report: Report, finding: Finding, *, first: date, last: date) -> Bounded | None:
    """Give the part of a finding's loss that fell into the days `first` to `last`, included.

    The loss is spread over the finding's days as expected less delivered heat is; None where that
    cannot be told.
    """
    if finding.lost is None or finding.kind in FROM_THE_STORE:
        return None
    gaps = _gaps_kwh(report, finding)
    whole = sum(gaps.values())
    if whole <= 0.0:
        return None
    share = sum(kwh for when, kwh in gaps.items() if first <= when <= last) / whole
    lost = finding.lost
    return Bounded(value=lost.value * share, low=lost.low * share, high=lost.high * share)


def _gaps_kwh(report: Report, finding: Finding) -> dict[date, float]:
    first = local_date(finding.start_s, report.timezone)
    last = None if finding.end_s is None else local_date(finding.end_s - 1, report.timezone)
    gaps = {}
    for day in report.days:
        when = date.fromisoformat(day.date)
        if when < first or (last is not None and when > last):
            continue
        if day.expected_kwh is not None and day.delivered_kwh is not None:
            gaps[when] = max(0.0, day.expected_kwh - day.delivered_kwh)
    return gaps
