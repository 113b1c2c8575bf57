"""What open findings have cost, so far and lately, and how sites rank by it."""

import math
from collections.abc import Iterable, Mapping
from datetime import date, timedelta

from analysis.ledger_result import OUTSIDE_THE_GAP
from analysis.results import Bounded, Finding, Report
from analysis.savings import EFFICIENCY_FRAC
from analysis.uncertainty import COVERAGE_95
from dashboards.format import URGENCY_RANK, bounded, local_date

RECENT_DAYS = 30
_NO_SUN = "not known (the log does not tell what the sun offered)"
# Why no heat is counted, where the kind itself is the reason. The shares are those of invented
# plants against their sound twins (six seeds each of the bench's rows): short_cycling -0.2 to 1.4,
# start_delayed 0 to 0.9 by the setting and -0.5 to 4.0 by the sensor, backup_overlap 0.7 to 3.8,
# low_flow -1.4 to -0.5 %.
_NOT_COUNTED: Mapping[str, str] = {
    "frost_risk": "none counted (a risk, not a loss so far)",
    "not_yet_fitted": "none counted (no heat was to be expected)",
    "scald_risk": "none counted (a risk, not a loss)",
    "store_overheat": "none counted (a danger, not a loss)",
    "hygiene_temperature": "none counted (a risk, not a loss)",
    "fluid_stress": "none counted (what stood hot is told by the cause)",
    "no_draw": "none (nothing is wrong)",
    "silence": "not known (nothing was logged)",
    "stagnation": "not counted (the store could take no more)",
    "sensor_fault": "not known (the sensor cannot be trusted)",
    "sensors_swapped": "not known (the sensors cannot be trusted)",
    "flow_reading_wrong": "not known (the flow reading cannot be trusted)",
    "clock_wrong": "none counted (the clock of the log is wrong, not the plant)",
    "short_cycling": "none counted (costs little: about a hundredth of the heat at most)",
    "start_delayed": "none counted (costs little: about a hundredth of the heat, up to four "
    "hundredths where the sensor reads low)",
    "backup_overlap": "none counted (one to four hundredths of the sun's heat, and the fuel that "
    "makes up for it)",
    "low_flow": "none counted (half the flow costs hardly any heat: what the hotter loop loses, "
    "the calmer store gains)",
    "high_flow": "none counted (costs the pump's electricity rather than heat)",
    "pressure_loss": "none counted (a risk: what stands still for it is told apart)",
    "vessel_charge_lost": "none counted (a risk: what stands still for it is told apart)",
    "lost_circulation": _NO_SUN,
    "charge_limit_low": _NO_SUN,
    "shading": "not known (no sun sensor that stays in the light)",
    "yield_shortfall": "not known (no meter: the flow is taken from commissioning)",
}


def lost_words(finding: Finding) -> str:
    """Write what a finding cost in heat, or why that is not told."""
    return bounded(finding.lost, unknown=not_counted(finding))


def not_counted(finding: Finding) -> str:
    """Say why a finding carries no lost heat."""
    if finding.kind == "stagnation" and finding.urgency != "record":
        return "not known"  # the store was not full: what it missed is told by the cause
    return _NOT_COUNTED.get(finding.kind, "not known")


def worth(report: Report, lost: Bounded | None) -> Bounded | None:
    """Give the money that lost heat costs, at the mean worth of this report's useful heat.

    The backup must make what the sun did not. None without prices or lost heat.
    """
    saved = report.savings
    if lost is None or saved is None or saved.money is None or saved.useful_kwh <= 0.0:
        return None
    rate = saved.money / saved.useful_kwh
    value = lost.value * rate
    backup = COVERAGE_95 * EFFICIENCY_FRAC * value
    return Bounded(
        value=value,
        low=max(value - math.hypot((lost.value - lost.low) * rate, backup), 0.0),
        high=value + math.hypot((lost.high - lost.value) * rate, backup),
    )


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
    if finding.lost is None or finding.kind in OUTSIDE_THE_GAP:
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
