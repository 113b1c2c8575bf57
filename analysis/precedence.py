"""One cause, one finding: which kind explains which, in two visible tables.

`RESTS_ON` says which channels a kind is derived from: a fault of one of them explains it.
`CAUSES` says what each kind accounts for; earlier rows win. A cause either brings its symptoms
about (a dead pump lets the collector stand hot), or feigns them (a wrong clock moves the day into
the night). A finding is explained when a cause covers at least half of its time, and it is kept,
with the reason, beside the findings that remain. A cause is as urgent as what it brings about.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

from analysis.results import URGENCIES, Finding
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

_STORE = "store_bottom store_middle store_top"
_SUN = "irradiance_plane irradiance_horizontal"
_LOOP = "loop_hot loop_cold flow"


def _table(rows: Mapping[str, str]) -> Mapping[str, frozenset[str]]:
    return MappingProxyType({kind: frozenset(names.split()) for kind, names in rows.items()})


RESTS_ON = _table(
    {
        "not_yet_fitted": "collector",
        "clock_wrong": f"collector {_SUN}",
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
        "low_flow": "pump flow loop_hot loop_cold irradiance_plane",
        "high_flow": "pump flow",
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
# A clock that moves the evening into the dark takes up more than this of what seems due in the
# morning, or the other way round: 1.3 to 1.6 at an hour, under 1.0 of trees (invented plants).
_MOVED_FRAC = 1.12


def _same_channel(cause: Finding, symptom: Finding) -> bool:
    return symptom.channel in (None, cause.channel)


def _of_the_sensor(sensor: Finding, symptom: Finding) -> bool:
    """Tell whether a symptom rests on the sensor that is broken."""
    return sensor.channel in RESTS_ON[symptom.kind] and _same_channel(sensor, symptom)


def _of_the_swapped(swap: Finding, symptom: Finding) -> bool:
    """Tell whether a symptom rests on one of two sensors that are in each other's places."""
    words = [item.what.removeprefix(_SWAPPED) for item in swap.evidence if _SWAPPED in item.what]
    names = {name for said in words for name in said.split(" and ")}
    seen_by = RESTS_ON[symptom.kind] if symptom.channel is None else {symptom.channel}
    return not names.isdisjoint(seen_by)


def _of_the_clock(clock: Finding, symptom: Finding) -> bool:
    """Tell whether a clock is off by enough, and not itself told by what shade looks like."""
    if not _same_channel(clock, symptom):
        return False
    if clock.evidence and abs(clock.evidence[0].value) < _DAY_INTO_NIGHT_MIN:
        return False
    return not (symptom.kind == "shading" and _of_the_shade(symptom, clock))


def _of_the_shade(shade: Finding, clock: Finding) -> bool:
    """Tell whether one dark end of the day alone makes the collector's day seem moved."""
    by_roof = any(item.what == CLOCK_AHEAD_BY_ROOF for item in clock.evidence)
    other_end = [item.value for item in shade.evidence if item.what == OTHER_END]
    return by_roof and bool(other_end) and other_end[0] < _MOVED_FRAC


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """What a kind accounts for: symptoms that are real, and such that only seem to be.

    `only` tells of a cause and a symptom whether the row holds for them.
    """

    kind: str
    brings: frozenset[str] = frozenset()
    feigns: frozenset[str] = frozenset()
    only: Callable[[Finding, Finding], bool] = _same_channel


def _cause(
    kind: str,
    *,
    brings: str = "",
    feigns: str = "",
    only: Callable[[Finding, Finding], bool] = _same_channel,
) -> Cause:
    return Cause(
        kind=kind, brings=frozenset(brings.split()), feigns=frozenset(feigns.split()), only=only
    )


_YIELD = "degraded_tubes yield_shortfall"
_STANDS = f"lost_circulation stagnation {_YIELD}"
_TEMPERATURES = (
    "stagnation lost_circulation reverse_circulation night_running pump_never_stops "
    "low_flow poor_heat_transfer pipe_heat_loss start_delayed short_cycling charge_limit_low "
    f"not_yet_fitted {_YIELD}"
)
_STORE_STATES = "fluid_stress store_overheat scald_risk hygiene_temperature backup_overlap no_draw"

CAUSES = (
    # What is read wrongly: the symptoms are not there.
    # Of a sensor only what rests on it.
    Cause(kind="sensor_fault", feigns=frozenset(RESTS_ON), only=_of_the_sensor),
    _cause(
        "sensors_swapped", feigns=f"shading {_STORE_STATES} {_TEMPERATURES}", only=_of_the_swapped
    ),
    # Where no sun sensor tells the clock, a dark afternoon looks like one that is behind.
    _cause("shading", feigns="clock_wrong", only=_of_the_shade),
    _cause(
        "clock_wrong",
        feigns="night_running reverse_circulation start_delayed shading backup_overlap "
        f"charge_limit_low {_YIELD}",
        only=_of_the_clock,
    ),
    # A flow that is not there carries heat up at night, as the meter has it.
    _cause(
        "flow_reading_wrong",
        feigns="low_flow high_flow reverse_circulation poor_heat_transfer pipe_heat_loss shading "
        f"{_YIELD}",
    ),
    # What stands still, from the first cause to the last.
    _cause("not_yet_fitted", feigns=f"start_delayed shading pipe_heat_loss {_STANDS}"),
    _cause("vessel_charge_lost", brings=f"pressure_loss low_flow short_cycling {_STANDS}"),
    _cause("pressure_loss", brings=f"low_flow short_cycling poor_heat_transfer {_STANDS}"),
    _cause(
        # The store's bottom warms while the pump runs: the heat came, late and hot.
        "poor_heat_transfer",
        brings="short_cycling yield_shortfall",
        feigns="lost_circulation",
    ),
    _cause(
        "charge_limit_low",
        brings="stagnation yield_shortfall",
        feigns="lost_circulation degraded_tubes start_delayed short_cycling",
    ),
    _cause(
        "lost_circulation",
        # Nothing cools the roof: it starts the night hot.
        brings=f"stagnation low_flow start_delayed {_YIELD}",
        feigns="reverse_circulation pipe_heat_loss shading",
    ),
    # What runs when it should not.
    _cause("pump_never_stops", brings="night_running reverse_circulation yield_shortfall"),
    _cause("night_running", brings="reverse_circulation"),
    # What carries less than it should.
    _cause(
        "low_flow",
        brings="poor_heat_transfer short_cycling yield_shortfall",
        # Where the flow is taken from the command, half of it looks like twice the loss.
        feigns="pipe_heat_loss",
    ),
    _cause("high_flow", brings="short_cycling"),
    _cause("pipe_heat_loss", brings=_YIELD),
    _cause("shading", brings=_YIELD),
    # A sensor that reads low starts the pump late, and stops it early and often.
    _cause("start_delayed", brings="short_cycling yield_shortfall"),
    _cause("short_cycling", brings="yield_shortfall"),
    _cause("degraded_tubes", brings="yield_shortfall"),
    # What gets too hot: one store, one warning.
    _cause("store_overheat", brings="scald_risk"),
)
"""What accounts for what, in order of precedence; a kind has a second row for what it accounts for
under a condition alone."""

_COVERS = 0.5
# A cause known to have cost less than this share of a symptom's loss is not its cause.
_WORTH = 0.5
# Besides what feigns a shortfall: on days with these the yield tells nothing further.
_TAKES_THE_YIELD = frozenset(
    {"not_yet_fitted", "lost_circulation", "charge_limit_low", "degraded_tubes", "low_flow"}
)
# A cause goes on acting for a while: a sensor repaired at noon leaves a hot collector.
_BEFORE_S = int(SECONDS_PER_HOUR)
_AFTER_S = int(SECONDS_PER_DAY / 2)
# A drop against the plant's own past is not explained by what was there before; it is dated by so
# much too late at most (engineering judgement).
_ONSET_S = int(60.0 * SECONDS_PER_DAY)
_AGAINST_ITS_PAST = frozenset({"degraded_tubes"})


def sort_out(
    findings: Sequence[Finding], *, until_s: int
) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """Part findings into those that stand and those that another explains.

    Parameters
    ----------
    findings : everything that was found
    until_s : stands for the end of findings that last
    """
    kept = list(findings)
    explained: list[Finding] = []
    for row in CAUSES:
        for cause in [item for item in kept if item.kind == row.kind]:
            symptoms = [item for item in kept if _accounts(row, cause, item, until_s)]
            explained += [replace(item, suppressed_by=row.kind) for item in symptoms]
            gone = {id(item) for item in symptoms}
            heir = _heir(cause, [item for item in symptoms if item.kind in row.brings])
            kept = [heir if item is cause else item for item in kept if id(item) not in gone]
    return tuple(kept), tuple(explained)


def takes_the_yield(finding: Finding) -> bool:
    """Tell whether the yield of a finding's days says nothing beyond it."""
    if finding.kind == "sensor_fault":
        return finding.channel in RESTS_ON["yield_shortfall"]
    feigned = any(row.kind == finding.kind and "yield_shortfall" in row.feigns for row in CAUSES)
    return feigned or finding.kind in _TAKES_THE_YIELD


def _accounts(row: Cause, cause: Finding, item: Finding, until_s: int) -> bool:
    """Tell whether a cause of a row explains a finding."""
    if item.kind not in row.brings | row.feigns or not row.only(cause, item):
        return False
    if item.kind in _AGAINST_ITS_PAST and cause.start_s < item.start_s - _ONSET_S:
        return False
    covered = _covered(item, cause, until_s)
    if item.kind in row.brings and cause.lost is not None and item.lost is not None:
        return covered >= _COVERS and cause.lost.high >= _WORTH * covered * item.lost.low
    return covered >= _COVERS


def _heir(cause: Finding, brought: Sequence[Finding]) -> Finding:
    """Give a cause the urgency of what it brings about, and its loss where it states none."""
    if not brought:
        return cause
    urgency = min((cause, *brought), key=lambda item: URGENCIES.index(item.urgency)).urgency
    priced = [item for item in brought if item.lost is not None]
    told = cause
    if cause.lost is None and priced:
        told = max(priced, key=lambda item: 0.0 if item.lost is None else item.lost.value)
    return replace(cause, urgency=urgency, lost=told.lost, untaken_kwh=told.untaken_kwh)


def _covered(item: Finding, cause: Finding, until_s: int) -> float:
    """Give the share of a finding's time that a cause covers."""
    start, end = item.start_s, until_s if item.end_s is None else item.end_s
    first = cause.start_s - _BEFORE_S
    last = (until_s if cause.end_s is None else cause.end_s) + _AFTER_S
    return max(min(end, last) - max(start, first), 0) / max(end - start, 1)
