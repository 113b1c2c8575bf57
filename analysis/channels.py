"""The channels a log can hold: one spelling, one unit, one span for each quantity.

The names and tidy column heads are those that logs and site files use; nothing else in the
project spells them a second time. A second or third sensor of a kind carries a suffix
(`collector_2`, tidy `t_collector_2_c`).
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """A measured quantity.

    Attributes
    ----------
    name : the short name used in maps and findings
    says : the quantity in the trade's words
    unit : the canonical unit, as printed
    tidy : column head in a tidy log
    quantity : which family of units converts to it (see `analysis.logs.conversions`)
    lowest, highest : outside these a value cannot be real and is masked, not deleted [unit]
    daily : whether a value sums up a whole local day, and is no sample
    """

    name: str
    says: str
    unit: str
    tidy: str
    quantity: str
    lowest: float
    highest: float
    daily: bool = False

    @property
    def counter(self) -> bool:
        """Whether it only ever counts up."""
        return not self.daily and self.quantity in ("energy", "volume", "duration")


def _temperature(name: str, says: str, *, highest: float = 150.0) -> Channel:
    return Channel(
        name=name,
        says=says,
        unit="°C",
        tidy=f"t_{name}_c",
        quantity="temperature",
        lowest=-50.0,
        highest=highest,
    )


# A dry evacuated collector passes 250 C (reference: certificates, ISO 9806 standard stagnation);
# an open Pt circuit reads full scale well above 350 C or far below -50 C (common practice, no
# source).
_BASE: tuple[Channel, ...] = (
    _temperature("collector", "collector", highest=350.0),
    _temperature("loop_hot", "loop pipe from the roof", highest=250.0),
    _temperature("loop_cold", "loop pipe to the roof", highest=250.0),
    _temperature("store_bottom", "store, bottom"),
    _temperature("store_middle", "store, middle"),
    _temperature("store_top", "store, top"),
    _temperature("ambient", "outdoor air", highest=60.0),
    _temperature("cold_feed", "mains inlet", highest=90.0),
    _temperature("hot_tap", "water to the taps", highest=120.0),
    _temperature("exchanger_hot", "exchanger, secondary hot side", highest=200.0),
    _temperature("exchanger_cold", "exchanger, secondary cold side", highest=200.0),
    Channel(
        name="irradiance_plane",
        says="irradiance in the collector plane",
        unit="W/m²",
        tidy="g_plane_w_m2",
        quantity="irradiance",
        lowest=-50.0,
        highest=1800.0,
    ),
    Channel(
        name="irradiance_horizontal",
        says="global horizontal irradiance",
        unit="W/m²",
        tidy="g_horizontal_w_m2",
        quantity="irradiance",
        lowest=-50.0,
        highest=1800.0,
    ),
    Channel(
        name="wind",
        says="wind speed near the collector",
        unit="m/s",
        tidy="wind_m_s",
        quantity="speed",
        lowest=0.0,
        highest=75.0,
    ),
    Channel(
        name="flow",
        says="loop flow",
        unit="l/min",
        tidy="flow_l_min",
        quantity="flow",
        lowest=-500.0,
        highest=5000.0,
    ),
    Channel(
        name="flow_volume",
        says="loop volume register",
        unit="l",
        tidy="volume_register_l",
        quantity="volume",
        lowest=0.0,
        highest=1e12,
    ),
    Channel(
        name="pump",
        says="pump command",
        unit="%",
        tidy="pump_percent",
        quantity="share",
        lowest=0.0,
        highest=100.0,
    ),
    Channel(
        name="pressure",
        says="loop pressure, gauge",
        unit="bar",
        tidy="pressure_bar",
        quantity="pressure",
        lowest=-1.0,
        highest=40.0,
    ),
    Channel(
        name="heat_register",
        says="heat register of the meter",
        unit="kWh",
        tidy="heat_register_kwh",
        quantity="energy",
        lowest=0.0,
        highest=1e10,
    ),
    Channel(
        name="heat_power",
        says="heat rate computed by the logger",
        unit="W",
        tidy="heat_power_w",
        quantity="power",
        lowest=-1e6,
        highest=1e7,
    ),
    Channel(
        name="backup",
        says="backup heating the store",
        unit="%",
        tidy="backup_percent",
        quantity="share",
        lowest=0.0,
        highest=100.0,
    ),
    Channel(
        name="secondary_pump",
        says="secondary pump command",
        unit="%",
        tidy="secondary_pump_percent",
        quantity="share",
        lowest=0.0,
        highest=100.0,
    ),
    Channel(
        name="pump_hours",
        says="pump running hours register",
        unit="h",
        tidy="pump_hours_h",
        quantity="duration",
        lowest=0.0,
        highest=1e7,
    ),
    Channel(
        name="day_heat",
        says="heat of the whole day",
        unit="kWh",
        tidy="day_heat_kwh",
        quantity="energy",
        lowest=0.0,
        highest=1e5,
        daily=True,
    ),
    Channel(
        name="day_peak_collector",
        says="hottest collector of the day",
        unit="°C",
        tidy="day_peak_collector_c",
        quantity="temperature",
        lowest=-50.0,
        highest=350.0,
        daily=True,
    ),
    Channel(
        name="day_pump_hours",
        says="pump running hours of the day",
        unit="h",
        tidy="day_pump_hours_h",
        quantity="duration",
        lowest=0.0,
        highest=25.0,
        daily=True,
    ),
)

BASE_CHANNELS: dict[str, Channel] = {channel.name: channel for channel in _BASE}

_SUFFIX = re.compile(r"^(?P<base>[a-z_]+?)_(?P<number>[2-9])$")
_UNIT_TAILS = ("_w_m2", "_m_s", "_l_min", "_percent", "_kwh", "_bar", "_c", "_l", "_w", "_h")


@lru_cache(maxsize=512)
def channel(name: str) -> Channel | None:
    """Give the channel of this name, numbered ones such as `collector_2` too, or None."""
    if name in BASE_CHANNELS:
        return BASE_CHANNELS[name]
    match = _SUFFIX.match(name)
    if match is None or match["base"] not in BASE_CHANNELS:
        return None
    base = BASE_CHANNELS[match["base"]]
    return replace(
        base,
        name=name,
        says=f"{base.says} ({match['number']})",
        tidy=_numbered_tidy(base.tidy, match["number"]),
    )


def _numbered_tidy(tidy: str, number: str) -> str:
    for tail in _UNIT_TAILS:
        if tidy.endswith(tail):
            return f"{tidy[: -len(tail)]}_{number}{tail}"
    return f"{tidy}_{number}"


@lru_cache(maxsize=1)
def _by_tidy() -> dict[str, Channel]:
    table = {base.tidy: base for base in _BASE}
    for base in _BASE:
        for number in "23456789":
            numbered = channel(f"{base.name}_{number}")
            if numbered is not None:
                table[numbered.tidy] = numbered
    return table


def base_name(name: str) -> str:
    """Give the channel of the first sensor of a kind: `collector` for `collector_2`."""
    match = _SUFFIX.match(name)
    return match["base"] if match is not None and match["base"] in BASE_CHANNELS else name


def channel_of_tidy(head: str) -> Channel | None:
    """Give the channel of a tidy column head, case and outer blanks ignored, or None."""
    return _by_tidy().get(head.strip().lower())


def is_daily(name: str) -> bool:
    """Tell whether a channel of this name sums up whole days."""
    found = channel(name)
    return found is not None and found.daily


def known_names() -> Iterable[str]:
    """Give the channel names without numbers, in the order of the list."""
    return BASE_CHANNELS.keys()
