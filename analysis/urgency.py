"""How urgent a finding is: one rule for all kinds, from danger, lost heat and certainty.

A kind hands in what it knows: the level of its danger, the heat lost in a week, how sure it is,
whether a healthy plant shows the same, whether anybody can do something. The rule, in this order:

1. What healthy plants show too is `record`.
2. The level of danger asks: acute `act`, present `visit`, less `watch`. Heat lost asks for `visit`
   from `VISIT_KWH_WEEK` on. The more urgent of the two counts.
3. `act` needs a danger of today and `SURE["act"]`, `visit` needs `SURE["visit"]` and somebody who
   can do something; without, it is one step less.
4. Nothing is more urgent than its class of danger, or its row in `STAKES`, allows.

A finding that is over keeps what it asked for, except that nothing of the past is `act`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from analysis.results import URGENCIES, Bounded, Urgency
from analysis.units import SECONDS_PER_DAY

Danger = Literal["scald", "pressure", "frost", "fluid", "hygiene", "function", "heat", "note"]
Level = Literal["none", "possible", "present", "acute"]

AT_MOST: Mapping[Danger, Urgency] = MappingProxyType(
    {
        "scald": "act",
        "pressure": "act",
        "frost": "act",
        "fluid": "visit",
        "hygiene": "visit",
        "function": "visit",
        "heat": "visit",
        "note": "watch",
    }
)
"""What may happen, and how urgent it makes a finding at most.

People are hurt by hot water, pressure and steam, and ice bursts pipes: today. Fluid and water spoil
over weeks, a part that does not work, and heat that is lost, wait for a visit. A note informs.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stake:
    """What is at stake with a kind; `at_most` is for a kind below its class, `why` says why."""

    danger: Danger
    at_most: Urgency = "act"
    why: str = ""


STAKES: Mapping[str, Stake] = MappingProxyType(
    {
        "scald_risk": Stake(danger="scald"),
        "store_overheat": Stake(danger="scald"),
        "pressure_loss": Stake(danger="pressure"),
        "vessel_charge_lost": Stake(danger="pressure"),
        "frost_risk": Stake(danger="frost"),
        "fluid_stress": Stake(
            danger="fluid", at_most="watch", why="the next visit's test is soon enough"
        ),
        "hygiene_temperature": Stake(danger="hygiene"),
        "lost_circulation": Stake(danger="function"),
        "sensor_fault": Stake(danger="function"),
        "sensors_swapped": Stake(danger="function"),
        "flow_reading_wrong": Stake(danger="function"),
        "clock_wrong": Stake(danger="function"),
        "degraded_tubes": Stake(danger="function"),
        "low_flow": Stake(danger="function"),
        "reverse_circulation": Stake(danger="heat"),
        "night_running": Stake(danger="heat"),
        "pump_never_stops": Stake(danger="heat"),
        "short_cycling": Stake(danger="heat"),
        "start_delayed": Stake(danger="heat"),
        "charge_limit_low": Stake(danger="heat"),
        "shading": Stake(danger="heat"),
        "poor_heat_transfer": Stake(danger="heat"),
        "pipe_heat_loss": Stake(danger="heat"),
        "yield_shortfall": Stake(danger="heat"),
        "backup_overlap": Stake(
            danger="heat", at_most="watch", why="a timer is set by whoever lives there"
        ),
        "high_flow": Stake(danger="note"),
        "stagnation": Stake(danger="note"),
        "silence": Stake(danger="note"),
        "not_yet_fitted": Stake(danger="note"),
        "no_draw": Stake(danger="note", at_most="record", why="nothing is wrong"),
    }
)
"""What is at stake with each kind of finding."""

VISIT_KWH_WEEK = 3.0
"""Heat lost in a week that is worth a visit: an eighth of what a home's plant brings in a mean
week, 150 kWh a year (engineering judgement)."""

CAREFUL_FRAC = 0.5
"""The lower bound of the heat lost must reach this share of it (engineering judgement)."""

ELECTRICITY_WEIGHT = 2.5
"""A kWh of pump electricity counts as so much heat: about the ratio of their prices and of their
primary energy (engineering judgement)."""

LEAST_DAYS = 7.0
"""What has lasted for less has no weekly loss yet."""

FRESH_DAYS = 14.0
"""A danger seen up to so long ago is one of today (engineering judgement)."""

SURE: Mapping[Urgency, float] = MappingProxyType({"act": 0.8, "visit": 0.7})
"""The certainty that asking for somebody's time needs (engineering judgement)."""

_OF_LEVEL: Mapping[Level, Urgency] = MappingProxyType(
    {"none": "watch", "possible": "watch", "present": "visit", "acute": "act"}
)


def urgency_of(
    kind: str,
    *,
    certainty: float,
    level: Level = "none",
    today: bool = True,
    lost_week: Bounded | None = None,
    normal: bool = False,
    can_act: bool = True,
) -> Urgency:
    """Say how urgent a finding is.

    Parameters
    ----------
    kind : kind of the finding, a row of `STAKES`
    certainty : how sure it is, 0 to 1
    level : how far the kind's danger has come; for what does not work, whether that is proven
    today : the danger lasts, and was seen lately (`is_fresh`); only such a one is `act`
    lost_week : heat lost in a week, of `per_week` [kWh]; None where it is not known
    normal : healthy plants show it too
    can_act : somebody can do something about it

    Raises
    ------
    KeyError : the kind has no row in `STAKES`
    """
    stake = STAKES[kind]
    if normal:
        return "record"
    asked: Urgency = _OF_LEVEL[level]
    if asked == "watch" and _worth_a_visit(lost_week):
        asked = "visit"
    if asked == "act" and not (today and certainty >= SURE["act"]):
        asked = "visit"
    if asked == "visit" and not (can_act and certainty >= SURE["visit"]):
        asked = "watch"
    return max((asked, AT_MOST[stake.danger], stake.at_most), key=URGENCIES.index)


def per_week(
    lost: Bounded | None, *, start_s: int, end_s: int, pump_kwh: float = 0.0
) -> Bounded | None:
    """Give what a finding cost in a mean week [kWh], None where that is not known.

    Parameters
    ----------
    lost : heat lost from `start_s` to `end_s`, None where it is not known
    start_s, end_s : first and last instant that showed it, UTC epoch seconds
    pump_kwh : electricity that the pump took for nothing, weighed by `ELECTRICITY_WEIGHT`
    """
    weeks = (end_s - start_s) / SECONDS_PER_DAY / 7.0
    if weeks * 7.0 < LEAST_DAYS or (lost is None and pump_kwh <= 0.0):
        return None
    heat = lost if lost is not None else Bounded(value=0.0, low=0.0, high=0.0)
    power = ELECTRICITY_WEIGHT * pump_kwh
    return Bounded(
        value=(heat.value + power) / weeks,
        low=(heat.low + power) / weeks,
        high=(heat.high + power) / weeks,
    )


def is_fresh(last_s: int, until_s: int) -> bool:
    """Tell whether what was last seen at an instant is a matter of today."""
    return until_s - last_s <= FRESH_DAYS * SECONDS_PER_DAY


def _worth_a_visit(lost_week: Bounded | None) -> bool:
    return (
        lost_week is not None
        and lost_week.value >= VISIT_KWH_WEEK
        and lost_week.low >= CAREFUL_FRAC * VISIT_KWH_WEEK
    )
