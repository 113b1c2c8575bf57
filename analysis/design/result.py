"""What the report says about the design yield: plain numbers and words, ready to be written."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class BesideYield:
    """What another method says of the same system, and why it differs."""

    method: str
    yearly_kwh: float
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DesignYield:
    """The promise of a typical year, and how the latest year stands to it.

    Attributes
    ----------
    method : "given" or the method's name
    climate, demand : what the method rests on, in words; None for a given promise without climate
    assumed : what the site file did not say and was assumed
    monthly_kwh, yearly_kwh : the promise, January first
    beside : what other methods say
    compared_from, compared_to : first and last of the months compared (`2025-01`), those with nine
        tenths in the log, of the latest twelve; None where there is none
    compared_months : how many these are
    raw_ratio : delivered over promised in these months, with its 95 % bounds [-]
    corrected_months : in how many of them the sun is known, too
    sun_ratio : their irradiation over that of the typical year [-]
    usual_promise_kwh, corrected_promise_kwh : what these months promise under the usual sun, and
        under their own
    weather_corrected_ratio : delivered over the latter [-]
    """

    method: str
    climate: str | None
    demand: str | None
    assumed: tuple[str, ...]
    monthly_kwh: tuple[float, ...]
    yearly_kwh: float
    beside: tuple[BesideYield, ...]
    compared_from: str | None = None
    compared_to: str | None = None
    compared_months: int = 0
    raw_ratio: float | None = None
    raw_ratio_low: float | None = None
    raw_ratio_high: float | None = None
    corrected_months: int = 0
    sun_ratio: float | None = None
    usual_promise_kwh: float | None = None
    corrected_promise_kwh: float | None = None
    weather_corrected_ratio: float | None = None
    weather_corrected_ratio_low: float | None = None
    weather_corrected_ratio_high: float | None = None


def design_from_json(data: Mapping[str, Any] | None) -> DesignYield | None:
    """Build it again from what the machine report holds; None where that holds none."""
    if data is None:
        return None
    lists: dict[str, Any] = {
        "assumed": tuple(data["assumed"]),
        "monthly_kwh": tuple(data["monthly_kwh"]),
        "beside": tuple(BesideYield(**item) for item in data["beside"]),
    }
    return DesignYield(**{**data, **lists})
