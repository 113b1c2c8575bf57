"""An invented report of one installation-year, for looking at pages and testing figures.

All numbers are invented. Nothing here claims to be a measurement.
"""

import math
import random
from datetime import UTC, date, datetime, timedelta
from typing import Any

from analysis.basis import Basis
from analysis.results import (
    Bounded,
    Condition,
    DayFigure,
    Evidence,
    Finding,
    MonthFigure,
    Problem,
    Report,
    RowCount,
    Savings,
    Totals,
    Verdict,
)

YEAR = 2025
PROMISE_KWH = (22, 38, 78, 112, 138, 140, 139, 122, 92, 56, 27, 17)


def at(month: int, day: int, hour: int = 0, minute: int = 0, *, year: int = YEAR) -> int:
    """Give UTC epoch seconds."""
    return int(datetime(year, month, day, hour, minute, tzinfo=UTC).timestamp())


def a_day(when: date, **given: Any) -> DayFigure:
    """Give one day; every part unknown unless given."""
    empty = dict.fromkeys(
        (
            "delivered_kwh", "delivered_low_kwh", "delivered_high_kwh", "irradiation_kwh_m2",
            "expected_kwh", "expected_low_kwh", "expected_high_kwh", "design_kwh", "pump_kwh",
            "peak_collector_c",
        )
    )  # fmt: skip
    return DayFigure(**{"date": when.isoformat(), "coverage": 0.0, **empty, **given})


def _loss_frac(when: date) -> float:
    if date(YEAR, 5, 3) <= when < date(YEAR, 6, 4):
        return 0.96
    if when >= date(YEAR, 8, 20):
        return 0.24
    return 0.0


def a_year(*, seed: int = 4, weather: bool = True, first: date | None = None) -> list[DayFigure]:
    """Give the days of a year with sun, cloud, gaps and losses."""
    rng = random.Random(seed)
    days, cloud = [], 0.5
    for number in range(365):
        when = date(YEAR, 1, 1) + timedelta(days=number)
        if first and when < first:
            continue
        season = 0.5 - 0.5 * math.cos(2 * math.pi * (number + 10) / 365)
        cloud = min(1.0, max(0.0, 0.6 * cloud + 0.4 * rng.betavariate(0.7, 0.7)))
        sun = (0.8 + 6.6 * season) * (1.0 - 0.85 * cloud)
        expected = max(0.0, 1.02 * (sun - 0.35))
        gap = date(YEAR, 3, 9) <= when <= date(YEAR, 3, 14)
        coverage = 0.0 if gap else 0.998 if number % 41 else 0.62
        delivered = expected * (1 - _loss_frac(when)) * rng.gauss(0.99, 0.04)
        days.append(
            a_day(when, design_kwh=PROMISE_KWH[when.month - 1] / 30.4)
            if gap
            else a_day(
                when,
                coverage=coverage,
                delivered_kwh=delivered * coverage,
                delivered_low_kwh=delivered * coverage * 0.87,
                delivered_high_kwh=delivered * coverage * 1.13,
                irradiation_kwh_m2=sun if weather else None,
                expected_kwh=expected * coverage if weather else None,
                expected_low_kwh=expected * coverage * 0.91 if weather else None,
                expected_high_kwh=expected * coverage * 1.09 if weather else None,
                design_kwh=PROMISE_KWH[when.month - 1] / 30.4,
                pump_kwh=0.03 * sun,
                peak_collector_c=20 + 14 * sun + (90 if _loss_frac(when) > 0.5 and sun > 3 else 0),
            )
        )
    return days


def _sum(days: list[DayFigure], name: str) -> float | None:
    values = [value for day in days if (value := getattr(day, name)) is not None]
    return sum(values) if values else None


SUMMED = (
    "delivered_kwh", "delivered_low_kwh", "delivered_high_kwh", "expected_kwh",
    "expected_low_kwh", "expected_high_kwh", "design_kwh", "pump_kwh",
)  # fmt: skip


def months_of(days: list[DayFigure]) -> list[MonthFigure]:
    """Add days up to months."""
    made = []
    for name in sorted({day.date[:7] for day in days}):
        part = [day for day in days if day.date.startswith(name)]
        made.append(
            MonthFigure(
                month=name,
                coverage=sum(day.coverage for day in part) / len(part),
                irradiation_kwh_m2=_sum(part, "irradiation_kwh_m2"),
                **{key: _sum(part, key) for key in SUMMED},
            )
        )
    return made


def totals_of(days: list[DayFigure]) -> Totals:
    """Add days up to totals."""
    return Totals(
        coverage=sum(day.coverage for day in days) / max(1, len(days)),
        **{key: _sum(days, key) for key in SUMMED},
    )


def a_finding(**given: Any) -> Finding:
    """Give a finding: heat stays on the roof unless told otherwise."""
    return Finding(
        **{
            "kind": "lost_circulation",
            "start_s": at(5, 3, 8, 10),
            "end_s": at(6, 4, 9, 0),
            "urgency": "visit",
            "certainty": 0.97,
            "channel": None,
            "lost": Bounded(value=118.0, low=97.0, high=139.0),
            "summary": "The pump was told to run on 27 sunny days but no heat came down.",
            "evidence": (
                Evidence(
                    what="sunny days without heat", start_s=at(5, 3), end_s=at(6, 4),
                    value=27.0, unit="days",
                ),
                Evidence(
                    what="highest collector temperature", start_s=at(5, 17, 12),
                    end_s=at(5, 17, 15), value=196.4, unit="°C",
                ),
            ),
            "likely_causes": (
                "Pump seized or its capacitor dead",
                "Air trapped at the highest point of the loop",
                "Isolating valve closed after a visit",
            ),
            "check_next": (
                "Look at the controller: does it show the pump as running?",
                "Feel the pump body in the early morning: warm and humming, or cold and still?",
                "Read the pressure gauge with the loop cold and compare it with the fill pressure.",
                "On a cool morning with the collectors covered, vent the highest point.",
            ),
            "cautions": (
                "The collector may hold steam above 150 °C: never open the loop or refill it while "
                "the sun is on the roof. Cover it and let it cool first.",
                "Isolate the supply before any work on the pump. Electrical work belongs to a "
                "licensed electrician where local codes say so.",
            ),
            **given,
        }
    )  # fmt: skip


def findings() -> tuple[Finding, ...]:
    """Give four findings of different urgency and reach."""
    return (
        a_finding(),
        a_finding(
            kind="degraded_tubes",
            start_s=at(8, 20),
            end_s=None,
            lost=Bounded(value=74.0, low=41.0, high=108.0),
            certainty=0.88,
            summary="Since 20 August the array gives about a quarter less than it did in spring.",
        ),
        a_finding(
            kind="reverse_circulation",
            start_s=at(10, 2, 20),
            end_s=at(11, 11, 6),
            urgency="watch",
            lost=Bounded(value=9.2, low=6.1, high=12.4),
            summary="On 23 nights the store lost heat to the roof.",
        ),
        a_finding(
            kind="stagnation",
            start_s=at(7, 8, 10),
            end_s=at(7, 10, 18),
            urgency="record",
            lost=None,
            summary="The store was full on three hot days and the collector stood still.",
        ),
    )


def a_report(**given: Any) -> Report:
    """Give a whole report; every part can be replaced."""
    days = list(given.pop("days", None) or a_year())
    start, end = at(1, 1), at(1, 1, year=YEAR + 1)
    return Report(
        **{
            "site": "Mill Lane 4",
            "timezone": "Europe/London",
            "start_s": start,
            "end_s": end,
            "basis": Basis(
                heat="flow_and_temperatures",
                weather="irradiance_plane",
                design="given",
                notes=("The store has no middle sensor; the upper one stands for it.",),
            ),
            "rows": RowCount(read=525600, kept=525480, duplicate=60, rejected=60),
            "rejected": (
                Problem(
                    file="roof-2025-03.csv", line=812, column="t_collector_c",
                    why="'8O.5' is not a number; the value was left out",
                ),
                Problem(file="roof-2025-03.csv", line=None, column=None, why="time runs backwards"),
            ),
            "days": tuple(days),
            "months": tuple(months_of(days)),
            "totals": totals_of(days),
            "findings": findings(),
            "explained": (
                a_finding(
                    kind="yield_shortfall", suppressed_by="lost_circulation",
                    summary="Delivered heat fell short of expected heat by 96 % for 32 days.",
                ),
            ),
            "verdicts": (
                Verdict(kind="lost_circulation", outcome="found", why=""),
                Verdict(kind="degraded_tubes", outcome="found", why=""),
                Verdict(kind="frost_risk", outcome="clear", why=""),
                Verdict(kind="sensor_fault", outcome="clear", why=""),
                Verdict(kind="pressure_loss", outcome="cannot_judge", why="no pressure was logged"),
            ),
            "condition": Condition(
                tubes_working=Bounded(value=13.6, low=12.2, high=15.1),
                eta0=Bounded(value=0.71, low=0.68, high=0.73),
                a1_w_m2k=None,
                as_of="2025-12-31",
            ),
            "savings": Savings(
                useful_kwh=800.0, fuel_kwh=952.0, fuel_low_kwh=810.0, fuel_high_kwh=1095.0,
                money=66.7, pump_cost=14.0, money_net=52.6, money_net_low=42.0, money_net_high=63.0,
                currency="GBP", co2_kg=192.9, co2_low_kg=165.0, co2_high_kg=222.0,
            ),
            "method": "test",
            **given,
        }
    )  # fmt: skip


def an_empty_report() -> Report:
    """Give a report of one day in which nothing at all is known."""
    nothing = dict.fromkeys(SUMMED)
    return a_report(
        days=[a_day(date(YEAR, 1, 1))],
        months=(),
        totals=Totals(coverage=0.0, **nothing),
        basis=Basis(heat=None, weather=None, design=None),
        findings=(),
        explained=(),
        verdicts=(),
        rejected=(),
        condition=None,
        savings=None,
    )
