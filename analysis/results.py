"""What an analysis gives: frozen results that turn into the machine report by one function.

`None` means unknown; unknown is never zero. Times are UTC epoch seconds and half-open; every
figure with bounds carries a 95 % interval.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from datetime import UTC, datetime
from functools import cache
from math import isfinite
from typing import Any, Literal, NamedTuple

import numpy as np

from analysis.basis import Basis, basis_from_json
from analysis.bounded import Bounded as Bounded
from analysis.condition_results import Condition as Condition
from analysis.condition_results import condition_from_json
from analysis.design.result import DesignYield, design_from_json
from analysis.hand_span import HandSpan
from analysis.ledger_result import Ledger
from analysis.savings_result import Savings as Savings
from analysis.savings_result import YearFigures as YearFigures
from analysis.savings_result import YearInProgress as YearInProgress
from analysis.savings_result import year_figures_from_json, year_from_json

SCHEMA = 1

Urgency = Literal["act", "visit", "watch", "record"]
Outcome = Literal["found", "clear", "cannot_judge"]
FieldCheckMode = Literal["strict", "indicative"]
FieldCheckOutcome = Literal["reached", "not_reached", "too_few_hours"]

URGENCIES: tuple[Urgency, ...] = ("act", "visit", "watch", "record")


@dataclass(frozen=True, slots=True, kw_only=True)
class RowCount:
    """Rows of the logs; `kept + duplicate + rejected == read`."""

    read: int
    kept: int
    duplicate: int
    rejected: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Something in a log that was set aside.

    `line` is the 1-based physical line, None where the file as a whole is meant; `column` is the
    header text, None where the row as a whole is meant.
    """

    file: str
    line: int | None
    column: str | None
    why: str


class DayFigure(NamedTuple):
    """One local civil day; a named tuple, as thousands are made and written at once."""

    date: str
    coverage: float
    delivered_kwh: float | None
    delivered_low_kwh: float | None
    delivered_high_kwh: float | None
    irradiation_kwh_m2: float | None
    expected_kwh: float | None
    expected_low_kwh: float | None
    expected_high_kwh: float | None
    design_kwh: float | None
    pump_kwh: float | None
    peak_collector_c: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthFigure:
    """One local calendar month; `design_pro_rata`: coverage too low for the whole promise."""

    month: str
    coverage: float
    delivered_kwh: float | None
    delivered_low_kwh: float | None
    delivered_high_kwh: float | None
    expected_kwh: float | None
    expected_low_kwh: float | None
    expected_high_kwh: float | None
    design_kwh: float | None
    irradiation_kwh_m2: float | None
    pump_kwh: float | None
    design_pro_rata: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Totals:
    """The whole span."""

    delivered_kwh: float | None
    delivered_low_kwh: float | None
    delivered_high_kwh: float | None
    expected_kwh: float | None
    expected_low_kwh: float | None
    expected_high_kwh: float | None
    design_kwh: float | None
    pump_kwh: float | None
    coverage: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """One named number that the finding rests on."""

    what: str
    start_s: int
    end_s: int
    value: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One fault or remarkable state, with what it cost and what to do.

    `end_s` is None while it lasts. `channel` names the sensor where the kind is about one.
    `suppressed_by` names the kind that explains this one; such findings are kept apart. `breaks`
    are times within in which it was gone, before it came back. `untaken_kwh` is heat missing for it
    that a sound plant's store would not have taken.
    """

    kind: str
    start_s: int
    end_s: int | None
    urgency: Urgency
    certainty: float
    channel: str | None
    lost: Bounded | None
    summary: str
    evidence: tuple[Evidence, ...]
    likely_causes: tuple[str, ...]
    check_next: tuple[str, ...]
    cautions: tuple[str, ...]
    suppressed_by: str | None = None
    breaks: tuple[tuple[int, int], ...] = ()
    untaken_kwh: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What one fault's examination said: found, clear, or cannot be judged and why."""

    kind: str
    outcome: Outcome
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ClearSeason:
    """What clear days without a sun sensor say about one season.

    `days` were proven clear by the shape of their curves; `level` is heat that came over heat
    under a clear sky, None from too few days; `basis` says in words how far that carries.
    """

    season: str
    days: int
    level: Bounded | None
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedHours:
    """The hours of the field check, figure by figure; `estimated_w` after the safety factor."""

    start_s: tuple[int, ...]
    measured_w: tuple[float, ...]
    estimated_w: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldCheck:
    """Measured against estimated power over valid hours, after the method of ISO 24194.

    `ratio` is measured over estimated, the safety factor (product of the other three) included;
    1 and more reaches it. `scatter_frac` is the standard deviation of the hours' own ratios.
    """

    mode: FieldCheckMode
    outcome: FieldCheckOutcome
    hours: int
    hours_needed: int
    ratio: float
    scatter_frac: float
    safety_factor: float
    pipes_factor: float
    uncertainty_factor: float
    other_factor: float
    start_s: int
    end_s: int
    points: CheckedHours


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """Everything one analysis of one site says."""

    site: str
    timezone: str
    start_s: int
    end_s: int
    basis: Basis
    rows: RowCount
    rejected: tuple[Problem, ...]
    days: tuple[DayFigure, ...]
    months: tuple[MonthFigure, ...]
    totals: Totals
    findings: tuple[Finding, ...]
    explained: tuple[Finding, ...]
    verdicts: tuple[Verdict, ...]
    condition: Condition | None
    savings: Savings | None
    method: str
    field_check: FieldCheck | None = None
    clear_seasons: tuple[ClearSeason, ...] = ()
    year: YearInProgress | None = None
    design: DesignYield | None = None
    readings: tuple[HandSpan, ...] = ()
    ledger: Ledger | None = None
    years: tuple[YearFigures, ...] = ()


def iso(time_s: int) -> str:
    """Write epoch seconds as ISO 8601 UTC with Z."""
    return datetime.fromtimestamp(time_s, UTC).isoformat()[: len("2025-06-01T12:00:00")] + "Z"


def finding_json(finding: Finding) -> dict[str, Any]:
    """Turn a finding into its entry in the machine report."""
    lost = finding.lost
    return {
        "kind": finding.kind,
        "start": iso(finding.start_s),
        "end": None if finding.end_s is None else iso(finding.end_s),
        "urgency": finding.urgency,
        "certainty": round(finding.certainty, 3),
        "channel": finding.channel,
        "lost_kwh": _number(lost.value if lost else None),
        "lost_low_kwh": _number(lost.low if lost else None),
        "lost_high_kwh": _number(lost.high if lost else None),
        "summary": finding.summary,
        "evidence": [
            {
                "what": item.what,
                "from": iso(item.start_s),
                "to": iso(item.end_s),
                "value": _number(item.value),
                "unit": item.unit,
            }
            for item in finding.evidence
        ],
        "likely_causes": list(finding.likely_causes),
        "check_next": list(finding.check_next),
        "cautions": list(finding.cautions),
        "explained_by": finding.suppressed_by,
        "breaks": [{"from": iso(start), "to": iso(end)} for start, end in finding.breaks],
    }


def report_json(report: Report) -> dict[str, Any]:
    """Turn a report into the machine report, keys and meanings as published (schema 1)."""
    return {
        "schema": SCHEMA,
        "method": report.method,
        "site": report.site,
        "from": iso(report.start_s),
        "to": iso(report.end_s),
        "timezone": report.timezone,
        "basis": _plain(report.basis),
        "rows": _plain(report.rows),
        "rejected": [_plain(problem) for problem in report.rejected],
        "days": _plain_days(report.days),
        "months": [_plain(month) for month in report.months],
        "totals": _plain(report.totals),
        "findings": [finding_json(finding) for finding in report.findings],
        "explained": [finding_json(finding) for finding in report.explained],
        "verdicts": [_plain(verdict) for verdict in report.verdicts],
        "condition": None if report.condition is None else _plain(report.condition),
        "savings": None if report.savings is None else _plain(report.savings),
        "field_check": None
        if report.field_check is None
        else _field_check_json(report.field_check),
        "clear_seasons": [_plain(item) for item in report.clear_seasons],
        "year": None if report.year is None else _plain(report.year),
        "design": None if report.design is None else _plain(report.design),
        "readings": [item.as_json() for item in report.readings],
        "ledger": None if report.ledger is None else report.ledger.as_json(),
        "years": [_plain(item) for item in report.years],
    }


def seconds(text: str) -> int:
    """Read ISO 8601 UTC with Z, as `iso` writes it, as epoch seconds."""
    return int(datetime.fromisoformat(text).timestamp())


def report_from_json(data: Mapping[str, Any]) -> Report:
    """Build the report again from what `report_json` gave."""
    condition, savings = data["condition"], data["savings"]
    return Report(
        site=data["site"],
        timezone=data["timezone"],
        start_s=seconds(data["from"]),
        end_s=seconds(data["to"]),
        basis=basis_from_json(data["basis"]),
        rows=RowCount(**data["rows"]),
        rejected=tuple(Problem(**item) for item in data["rejected"]),
        days=tuple(DayFigure(**item) for item in data["days"]),
        months=tuple(MonthFigure(**item) for item in data["months"]),
        totals=Totals(**data["totals"]),
        findings=tuple(_finding(item) for item in data["findings"]),
        explained=tuple(_finding(item) for item in data["explained"]),
        verdicts=tuple(Verdict(**item) for item in data["verdicts"]),
        condition=None if condition is None else condition_from_json(condition),
        savings=None if savings is None else Savings(**savings),
        method=data["method"],
        field_check=_field_check(data.get("field_check")),
        year=year_from_json(data.get("year")),
        clear_seasons=tuple(_clear_season(item) for item in data.get("clear_seasons", ())),
        design=design_from_json(data.get("design")),
        readings=tuple(HandSpan.from_json(item) for item in data.get("readings", ())),
        ledger=Ledger.from_json(data.get("ledger")),
        years=tuple(year_figures_from_json(item) for item in data.get("years", ())),
    )


def _field_check_json(check: FieldCheck) -> dict[str, Any]:
    hours = check.points
    starts = np.datetime_as_string(np.array(hours.start_s, dtype="datetime64[s]"), timezone="UTC")
    figures = (starts.tolist(), _rounded(hours.measured_w), _rounded(hours.estimated_w))
    points = [
        {"from": start, "measured_w": got, "estimated_w": due}
        for start, got, due in zip(*figures, strict=True)
    ]
    plain = {
        name: _plain(getattr(check, name))
        for name in _names(FieldCheck)
        if name != "points" and name[-2:] != "_s"
    }
    return {**plain, "points": points, "from": iso(check.start_s), "to": iso(check.end_s)}


def _field_check(data: Mapping[str, Any] | None) -> FieldCheck | None:
    if data is None:
        return None
    points = CheckedHours(
        start_s=tuple(seconds(item["from"]) for item in data["points"]),
        measured_w=tuple(item["measured_w"] for item in data["points"]),
        estimated_w=tuple(item["estimated_w"] for item in data["points"]),
    )
    rest: dict[str, Any] = {
        name: value for name, value in data.items() if name not in ("from", "to", "points")
    }
    start_s, end_s = seconds(data["from"]), seconds(data["to"])
    return FieldCheck(start_s=start_s, end_s=end_s, points=points, **rest)


def _clear_season(data: Mapping[str, Any]) -> ClearSeason:
    level = data["level"]
    return ClearSeason(
        season=data["season"],
        days=data["days"],
        level=None if level is None else Bounded(**level),
        basis=data["basis"],
    )


def _finding(data: Mapping[str, Any]) -> Finding:
    lost = data["lost_kwh"]
    return Finding(
        kind=data["kind"],
        start_s=seconds(data["start"]),
        end_s=None if data["end"] is None else seconds(data["end"]),
        urgency=data["urgency"],
        certainty=data["certainty"],
        channel=data["channel"],
        lost=None
        if lost is None
        else Bounded(value=lost, low=data["lost_low_kwh"], high=data["lost_high_kwh"]),
        summary=data["summary"],
        evidence=tuple(
            Evidence(
                what=item["what"],
                start_s=seconds(item["from"]),
                end_s=seconds(item["to"]),
                value=float("nan") if item["value"] is None else item["value"],
                unit=item["unit"],
            )
            for item in data["evidence"]
        ),
        likely_causes=tuple(data["likely_causes"]),
        check_next=tuple(data["check_next"]),
        cautions=tuple(data["cautions"]),
        suppressed_by=data["explained_by"],
        breaks=tuple(
            (seconds(item["from"]), seconds(item["to"])) for item in data.get("breaks", ())
        ),
    )


def _plain(value: object) -> Any:
    # What there is most of comes first.
    if isinstance(value, float):
        return _number(value)
    if value is None or isinstance(value, (str, int)):
        return value
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if is_dataclass(value):
        kind: type = type(value)
        return {name: _plain(getattr(value, name)) for name in _names(kind)}
    return value


def _plain_days(days: Sequence[DayFigure]) -> list[dict[str, Any]]:
    """Turn days, of which there are thousands, into what `_plain` gives."""
    if not days:
        return []
    dates, *figures = zip(*days, strict=True)
    each = zip(dates, *map(_rounded, figures), strict=True)
    return [dict(zip(DayFigure._fields, own, strict=True)) for own in each]


def _rounded(values: Sequence[float | None]) -> list[float | None]:
    """Round many numbers as `_number` rounds each."""
    numbers = np.array(values, dtype=np.float64)
    usual = np.abs(numbers) < 1e7
    scaled = np.where(usual, numbers, 0.0) * 1e4
    whole = np.rint(scaled)
    rounded: list[float | None] = (whole / 1e4).tolist()
    # The last bit says where a half goes, which scaling may have changed; and some are unknown.
    alone = ~usual | (np.abs(scaled - whole) > 0.4999)
    for at in np.flatnonzero(alone).tolist():
        rounded[at] = _number(values[at])
    return rounded


@cache
def _names(kind: type) -> tuple[str, ...]:
    """Give the names of a dataclass's fields."""
    return tuple(item.name for item in fields(kind))


def _number(value: float | None) -> float | None:
    """Round to what a reader can use; NaN and infinities become null."""
    return float(round(value, 4)) if value is not None and isfinite(value) else None
