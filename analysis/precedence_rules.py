"""What a cause can account for: which channels a kind rests on, and conditions on the evidence.

Kinds that a row of `analysis.precedence` sets against each other are told apart by what their
findings hold as evidence; the names of that evidence stand here, for both sides.
"""

from collections.abc import Mapping
from types import MappingProxyType

from analysis.results import Finding
from analysis.units import SECONDS_PER_DAY

_STORE = "store_bottom store_middle store_top"
_SUN = "irradiance_plane irradiance_horizontal"
_METER = "flow flow_volume"
_LOOP = f"loop_hot loop_cold {_METER}"
_LIGHT = frozenset(_SUN.split())


def _table(rows: Mapping[str, str]) -> Mapping[str, frozenset[str]]:
    return MappingProxyType({kind: frozenset(names.split()) for kind, names in rows.items()})


RESTS_ON = _table(
    {
        "not_yet_fitted": "collector",
        "clock_wrong": f"collector store_bottom {_LOOP} {_SUN}",
        # Each moves as the other should: no fault of one sensor does that.
        "sensors_swapped": "",
        "flow_reading_wrong": f"pump collector {_LOOP}",
        "pressure_loss": "pressure",
        "vessel_charge_lost": "pressure collector store_bottom ambient",
        "lost_circulation": f"collector {_STORE} {_LOOP} {_SUN}",
        "stagnation": f"collector {_STORE}",
        "fluid_stress": "collector loop_hot",
        "pump_never_stops": "pump collector store_bottom",
        "night_running": "pump collector store_bottom",
        "reverse_circulation": f"collector {_STORE} {_LOOP} ambient",
        "low_flow": f"pump {_LOOP} irradiance_plane",
        "high_flow": f"pump {_METER}",
        "short_cycling": "pump collector store_bottom",
        "start_delayed": "pump collector store_bottom loop_hot",
        "charge_limit_low": f"collector {_STORE}",
        "poor_heat_transfer": f"pump collector {_STORE} {_LOOP}",
        "pipe_heat_loss": "collector loop_hot loop_cold ambient",
        "shading": f"collector {_LOOP} {_SUN}",
        "degraded_tubes": f"collector {_LOOP} {_SUN}",
        "yield_shortfall": f"collector {_STORE} {_LOOP} {_SUN}",
        "store_overheat": _STORE,
        "scald_risk": "store_top hot_tap",
        "hygiene_temperature": "store_top",
        "backup_overlap": f"backup {_STORE}",
        "no_draw": _STORE,
        # Pipes burst: frost is doubted only where the very sensor that saw it is broken.
        "frost_risk": "collector loop_hot loop_cold",
    }
)
"""Kind to the channels that it is derived from; what names a channel rests on that one alone."""


CLOCK_AHEAD = "clock ahead of the sun"
CLOCK_AHEAD_BY_ROOF = "clock ahead of the sun, by the collector's warming"
"""Names of evidence of a wrong clock [min]; the second where nothing but the collector tells it."""

_SWAPPED = "days that show in each other's places: "


def swapped_words(one: str, other: str) -> str:
    """Give the name of the evidence that two channels are swapped [days]."""
    return f"{_SWAPPED}{one} and {other}"


OTHER_END = "taken up at the other end of the day, of what is due"
"""Name of evidence of shade [-]: a clock moves both ends of the day, a tree one alone."""

# A clock explains something only where it is off by more than dusk takes [min]; less may itself
# come of a collector that the store keeps warm, or of a sensor that follows late (engineering
# judgement).
_DAY_INTO_NIGHT_MIN = 45.0
# A drop of the output is dated so near to what brought it (engineering judgement).
_TOGETHER_S = int(21.0 * SECONDS_PER_DAY)
# A clock that moves the evening into the dark takes up more than this of what seems due in the
# morning, or the other way round: 1.3 to 1.6 at an hour, under 1.0 of trees (invented plants).
_MOVED_FRAC = 1.12


ROOF_OVER_STORE = "collector above store bottom, at most"
"""Name of evidence of lost circulation [K]: fluid that runs keeps the roof near the store."""

# Limed coils left the roof 33 to 46 K over the store's bottom, air in the loop 82 to 124 K
# (invented plants).
_STANDS_K = 65.0


def _stands(item: Finding) -> bool:
    """Tell whether a roof got hotter than running fluid would let it, whatever a coil does."""
    return item.kind == "lost_circulation" and any(
        one.what == ROOF_OVER_STORE and one.value > _STANDS_K for one in item.evidence
    )


GAVE_NO_VALUE, OFF_ITS_SCALE = "gave no value", "read off its scale"
"""What a broken sensor did, as the name of its evidence ends."""


def of_the_standing(standing: Finding, symptom: Finding) -> bool:
    """Tell whether a symptom comes of a loop that surely stands, told by the roof alone."""
    if symptom.kind == "clock_wrong":
        return _by_roof(symptom)
    return _stands(standing)


def _by_roof(clock: Finding) -> bool:
    return any(item.what == CLOCK_AHEAD_BY_ROOF for item in clock.evidence)


def same_channel(cause: Finding, symptom: Finding) -> bool:
    """Tell whether a symptom names no channel, or the one that its cause names."""
    return symptom.channel in (None, cause.channel)


def of_the_sensor(sensor: Finding, symptom: Finding) -> bool:
    """Tell whether a symptom rests on the sensor that is broken."""
    # A gap never starts a fault: what is seen meanwhile is seen by others.
    if any(item.what.endswith(GAVE_NO_VALUE) for item in sensor.evidence):
        return False
    # A meter at nought is right about a loop that stands.
    if _stands(symptom) and sensor.channel in _METER.split():
        return False
    return sensor.channel in _rests_on(symptom) & RESTS_ON[symptom.kind]


def _rests_on(symptom: Finding) -> frozenset[str]:
    """Give the channels that a finding is derived from."""
    if symptom.channel is not None:
        return frozenset({symptom.channel})
    names = RESTS_ON[symptom.kind]
    if symptom.kind == "clock_wrong":
        return names - _LIGHT if _by_roof(symptom) else names & _LIGHT
    return names


def of_the_meter(meter: Finding, clock: Finding) -> bool:
    """Tell whether a clock is told by heat that a meter got wrong."""
    return same_channel(meter, clock) and _by_roof(clock)


def of_the_swapped(swap: Finding, symptom: Finding) -> bool:
    """Tell whether a symptom rests on one of two sensors that are in each other's places."""
    return not _swapped(swap).isdisjoint(_rests_on(symptom))


def of_the_roof_in_place(swap: Finding, sensor: Finding) -> bool:
    """Tell whether a place read off its scale because the collector's sensor is in it."""
    off = any(item.what.endswith(OFF_ITS_SCALE) for item in sensor.evidence)
    return off and {"collector", sensor.channel} == _swapped(swap)


def _swapped(swap: Finding) -> set[str]:
    words = [item.what.removeprefix(_SWAPPED) for item in swap.evidence if _SWAPPED in item.what]
    return {name for said in words for name in said.split(" and ")}


def of_the_clock(clock: Finding, symptom: Finding) -> bool:
    """Tell whether a clock is off by enough for a symptom, and not itself told by a shade."""
    if not same_channel(clock, symptom):
        return False
    if clock.evidence and abs(clock.evidence[0].value) < _DAY_INTO_NIGHT_MIN:
        # Less moves the sun to where the tubes take it differently, from that day on.
        ends = [end_s for end_s in (clock.start_s, clock.end_s) if end_s is not None]
        return symptom.kind == "degraded_tubes" and any(
            began_with(end_s, symptom) for end_s in ends
        )
    return not (symptom.kind == "shading" and of_the_shade(symptom, clock))


def began_with(change_s: int, symptom: Finding) -> bool:
    """Tell whether a symptom began about when something else changed."""
    return abs(change_s - symptom.start_s) <= _TOGETHER_S


def of_the_shade(shade: Finding, clock: Finding) -> bool:
    """Tell whether one dark end of the day alone makes the collector's day seem moved."""
    other_end = [item.value for item in shade.evidence if item.what == OTHER_END]
    return _by_roof(clock) and bool(other_end) and other_end[0] < _MOVED_FRAC


def of_the_coil(coil: Finding, symptom: Finding) -> bool:
    """Tell whether a symptom goes with fluid that runs but does not give its heat off."""
    return same_channel(coil, symptom) and not _stands(symptom)
