"""The words of kinds and of what figures rest on, as pages need them.

The catalogue's texts are handed over by the service; here is only the shape they must have.
"""

from collections.abc import Mapping
from datetime import date
from typing import Protocol

from analysis.basis import PairOffset
from dashboards.format import kind_words, number, plural
from dashboards.weeks import Days


class KindText(Protocol):
    """What people read about a kind of finding."""

    @property
    def title(self) -> str:
        """Its name."""

    @property
    def customer(self) -> str:
        """A sentence for the owner."""

    @property
    def technician(self) -> str:
        """A paragraph for who repairs it."""


Texts = Mapping[str, KindText]

_HEAT: Mapping[str, str] = {
    "flow_and_temperatures": "Measured from the loop's flow and the temperatures of its two pipes.",
    "heat_register": "Read from the heat meter's register.",
    "heat_power": "Added up from the heat rate that the logger computed itself.",
    "daily_summary": "What the logger noted for each whole day. No samples stand behind it, so "
    "the bounds are wide.",
    "pump_and_commissioned_flow": "Estimated: pump running times the flow set at commissioning, "
    "with the measured pipe temperatures. No flow was logged, so the bounds are wide.",
    "flow_and_store_temperature": "Estimated from flow, collector and store temperatures. The pipe "
    "temperatures were not logged, so the bounds are wide.",
    "pump_and_store_temperature": "Estimated from pump, commissioned flow, collector and store "
    "temperatures. Neither flow nor pipe temperatures were logged, so the bounds are very wide.",
}
_LEARNT = "_offset_learnt"
_WEATHER: Mapping[str, str] = {
    "irradiance_plane": "Sun measured in the plane of the collectors.",
    "irradiance_horizontal": "Sun measured on the level and turned into the plane of the "
    "collectors by calculation.",
    "weather_file": "Sun taken from the weather file that was handed in.",
}
_DESIGN: Mapping[str, str] = {
    "given": "The monthly promise in the site file.",
    "EN 15316-4-3": "Computed after EN 15316-4-3 from the site's facts and its climate; no promise "
    "was given.",
}


def titles(texts: Texts) -> dict[str, str]:
    """Give each kind's name."""
    return {kind: text.title for kind, text in texts.items()}


def title_of(kind: str, texts: Texts) -> str:
    """Give a kind's name, also for a kind that the catalogue does not know."""
    text = texts.get(kind)
    return text.title if text else kind_words(kind)


def heat_basis(basis: str | None) -> str:
    """Say where delivered heat comes from."""
    if basis is None:
        return "Not known: the log holds neither flow, pump nor a heat register."
    plain = basis.removesuffix(_LEARNT)
    text = _HEAT.get(plain, kind_words(plain))
    if plain == basis:
        return text
    return f"{text} What the two pipe sensors differ was learnt from nights at rest and taken out."


def offset_words(offset: PairOffset) -> str:
    """Say what the two pipe sensors differ, how sure that is and what was made of it."""
    more = "more" if offset.offset_k >= 0.0 else "less"
    low, high = sorted((abs(offset.offset_low_k), abs(offset.offset_high_k)))
    likely = f"likely between {number(low, decimals=1)} and {number(high, decimals=1)} K"
    if offset.offset_low_k < 0.0 < offset.offset_high_k:
        likely = (
            f"likely between {number(low, decimals=1)} K the other way and "
            f"{number(high, decimals=1)} K"
        )
    size = number(abs(offset.offset_k), decimals=1)
    read = (
        f"at rest hot reads {size} K {more} than cold ({likely}), "
        f"as {plural(offset.nights, 'night')} beside a cold store show"
    )
    first, last = (date.fromisoformat(one) for one in (offset.first_date, offset.last_date))
    days = Days(first=first, last=last).words
    if offset.corrected:
        return f"{read}; heat of {days} is corrected for it"
    return (
        f"{read}, {days}; two sensors of their class cannot "
        "differ so much, so heat is not corrected: compare both with a third when the loop is "
        "cold, and see that the check valve shuts"
    )


def weather_basis(basis: str | None) -> str:
    """Say where the weather comes from."""
    if basis is None:
        return (
            "Not known: no irradiance was logged, so there is no expected heat to compare with. "
            "A sensor in the plane of the collectors would change that."
        )
    return _WEATHER.get(basis, kind_words(basis))


def design_basis(basis: str | None) -> str:
    """Say where the promise comes from."""
    if basis is None:
        return (
            "Not known: neither a monthly promise nor the climate of the place is in the site file."
        )
    return _DESIGN.get(basis, kind_words(basis))
