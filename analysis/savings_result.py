"""What was saved: over the whole time, in each calendar year, and in the year in progress."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analysis.bounded import Bounded


@dataclass(frozen=True, slots=True, kw_only=True)
class Savings:
    """What the sun saved: useful heat, fuel, money, CO2 (after the pump).

    `efficiency_low`, `efficiency_high` bound the backup's efficiency that the bounds of fuel
    allow for; `co2_source` says where the factors come from.
    """

    useful_kwh: float
    fuel_kwh: float
    fuel_low_kwh: float
    fuel_high_kwh: float
    money: float | None
    pump_cost: float | None
    money_net: float | None
    money_net_low: float | None
    money_net_high: float | None
    currency: str | None
    co2_kg: float | None
    co2_low_kg: float | None
    co2_high_kg: float | None
    efficiency_low: float | None = None
    efficiency_high: float | None = None
    co2_source: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class YearInProgress:
    """The calendar year of the last day: what it gave so far, and where it is heading.

    Parts named `by_end_` are for the whole year: so far plus a forecast of the rest with the
    weather's own spread. Money and CO2 are after the pump; None where they are not known.
    `rests_on` says in words what the forecast leans on.
    """

    year: int
    until: str
    delivered_kwh: Bounded
    by_end_delivered_kwh: Bounded
    money_net: Bounded | None
    by_end_money_net: Bounded | None
    currency: str | None
    co2_kg: Bounded | None
    by_end_co2_kg: Bounded | None
    rests_on: str


@dataclass(frozen=True, slots=True, kw_only=True)
class YearFigures:
    """One calendar year, as far as it is in the log.

    Attributes
    ----------
    year : the calendar year
    first, last : its first and last logged day
    coverage : share of the time between them that was logged
    delivered : heat into the store [kWh], with 95 % bounds
    healthy : what a healthy collector would have given in the same logged time [kWh]
    irradiation_kwh_m2 : sun in the collector plane over that time
    savings : what was saved; None without backup facts
    healthy_money_net : money that a healthy plant would have saved, after the pump; at the worth
        of this year's useful heat
    """

    year: int
    first: str
    last: str
    coverage: float
    delivered: Bounded | None
    healthy: Bounded | None
    irradiation_kwh_m2: float | None
    savings: Savings | None
    healthy_money_net: float | None


def year_figures_from_json(data: Mapping[str, Any]) -> YearFigures:
    """Build a year's figures again from the machine report."""
    savings = data["savings"]
    parts: dict[str, Any] = {
        name: None if data[name] is None else Bounded(**data[name])
        for name in ("delivered", "healthy")
    }
    parts["savings"] = None if savings is None else Savings(**savings)
    return YearFigures(**{**data, **parts})


def year_from_json(data: Mapping[str, Any] | None) -> YearInProgress | None:
    """Build the year in progress again from the machine report."""
    if data is None:
        return None
    values: dict[str, Any] = {
        name: Bounded(**value) if isinstance(value, Mapping) else value
        for name, value in data.items()
    }
    return YearInProgress(**values)
