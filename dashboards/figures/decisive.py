"""What is decisive for a finding: the channels that tell, their levels, and the hours to look at.

Which channels tell is a table, because each kind shows itself elsewhere; which hours tell is asked
of the finding's own evidence first, and of the day with the greatest loss otherwise.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from analysis.faults._useless_running import FROST_C
from analysis.faults.reverse_circulation import ReverseCirculation
from analysis.fluid import ice_point_c
from analysis.results import DayFigure, Finding
from analysis.site import Site
from dashboards.figures.day_curves import Threshold
from dashboards.format import local_date

LONGEST_EVIDENCE_S = 30 * 3600
# What touches both nights of a civil day is longer, and its daytime is no part of it.
LONGEST_NIGHT_S = 16 * 3600
_PAD_S = 2 * 3600
_BEFORE_S, _AFTER_S = 18 * 3600, 12 * 3600
# A hole is drawn whole, with both its edges, up to this length; of a longer one the beginning.
_WHOLE_HOLE_S, _EDGE_S, _OF_A_LONG_HOLE_S = 60 * 3600, 12 * 3600, 30 * 3600
LOOP = ("collector", "loop_hot", "loop_cold", "store_bottom", "flow", "pump")
_STORE = ("store_bottom", "store_middle", "store_top")
_SUN = ("irradiance_plane", "irradiance_horizontal")

Levels = Callable[[Site], tuple[Threshold, ...]]


def _no_level(_site: Site) -> tuple[Threshold, ...]:
    return ()


def _store_limit(site: Site) -> tuple[Threshold, ...]:
    return (Threshold(label="store limit", value=site.store.limit_c),)


def _standstill(site: Site) -> tuple[Threshold, ...]:
    if not site.controller_given:
        return _store_limit(site)
    cutout_c = site.controller.collector_cutout_c
    return (*_store_limit(site), Threshold(label="pump locked above", value=cutout_c))


def _flow(site: Site) -> tuple[Threshold, ...]:
    level = site.loop.flow_l_min
    return (Threshold(label="flow at commissioning", value=level, quantity="flow"),)


def _start(site: Site) -> tuple[Threshold, ...]:
    above_k = site.controller.start_difference_k
    label = f"start: {above_k:g} K above the store's bottom"
    return (Threshold(label=label, value=above_k, over="store_bottom"),)


def _start_and_flow(site: Site) -> tuple[Threshold, ...]:
    return (*_start(site), *_flow(site))


def _start_and_limit(site: Site) -> tuple[Threshold, ...]:
    return (*_start(site), *_store_limit(site))


def _fed(_site: Site) -> tuple[Threshold, ...]:
    above_k = ReverseCirculation().least_excess_k
    label = f"fed at night: {above_k:g} K above the air and more"
    return (Threshold(label=label, value=above_k, over="ambient"),)


def _taps(site: Site) -> tuple[Threshold, ...]:
    valve_c = site.store.mixing_valve_c
    burns = Threshold(label="burns within seconds", value=60.0)
    return (burns,) if valve_c is None else (burns, Threshold(label="mixing valve", value=valve_c))


def _hygiene(_site: Site) -> tuple[Threshold, ...]:
    return (Threshold(label="hygiene", value=60.0),)


def _ageing(_site: Site) -> tuple[Threshold, ...]:
    return tuple(Threshold(label=f"{level} °C", value=float(level)) for level in (120, 150, 170))


def _frost(site: Site) -> tuple[Threshold, ...]:
    loop = site.loop
    ice_c = ice_point_c(fluid=loop.fluid, concentration_frac=loop.concentration_frac)
    return (Threshold(label="the stated fluid freezes below", value=ice_c),)


def _no_frost(site: Site) -> tuple[Threshold, ...]:
    return (*_store_limit(site), Threshold(label="no frost function above", value=FROST_C))


def _pressure(site: Site) -> tuple[Threshold, ...]:
    fill, valve = site.loop.pressure_bar, site.loop.safety_valve_bar
    levels = (("cold fill", fill), ("safety valve opens", valve))
    return tuple(
        Threshold(label=label, value=value, quantity="pressure")
        for label, value in levels
        if value is not None
    )


def _missing_kwh(item: DayFigure) -> float:
    if item.expected_kwh is None or item.delivered_kwh is None:
        return _sunniest(item)
    return item.expected_kwh - item.delivered_kwh


def _sunniest(item: DayFigure) -> float:
    return item.irradiation_kwh_m2 or item.peak_collector_c or 0.0


def _hottest_c(item: DayFigure) -> float:
    return item.peak_collector_c or 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Decisive:
    """What to draw for a kind.

    `tells` ranks the days: the one for which it is greatest is drawn. `night` looks from noon to
    noon, `onset` at the hours around the start, `hole` at both edges.
    """

    channels: tuple[str, ...]
    levels: Levels = _no_level
    tells: Callable[[DayFigure], float] = _missing_kwh
    night: bool = False
    onset: bool = False
    hole: bool = False


ALL = Decisive(channels=(*LOOP, "store_top", "ambient", *_SUN))
DECISIVE: dict[str, Decisive] = {
    "silence": Decisive(channels=ALL.channels, hole=True),
    "sensor_fault": Decisive(channels=ALL.channels, onset=True),
    "stagnation": Decisive(
        channels=(*LOOP, "store_top", *_SUN), levels=_standstill, tells=_hottest_c
    ),
    "lost_circulation": Decisive(channels=(*LOOP, *_SUN), levels=_start_and_flow),
    "high_flow": Decisive(channels=(*LOOP, *_SUN), levels=_flow),
    "clock_wrong": Decisive(channels=(*_SUN, "collector", "pump")),
    "night_running": Decisive(
        channels=(*LOOP, "store_top", "ambient"), levels=_no_frost, night=True
    ),
    "pump_never_stops": Decisive(channels=(*LOOP, "store_top", "ambient"), levels=_no_frost),
    "start_delayed": Decisive(
        channels=("collector", "loop_hot", "store_bottom", "pump", *_SUN), levels=_start
    ),
    "short_cycling": Decisive(channels=("collector", "store_bottom", "pump", *_SUN), levels=_start),
    "flow_reading_wrong": Decisive(channels=(*LOOP, "store_top", *_SUN), levels=_flow),
    "low_flow": Decisive(channels=(*LOOP, *_SUN), levels=_flow),
    "sensors_swapped": Decisive(
        channels=("collector", "loop_hot", "loop_cold", *_STORE, "ambient", "pump", *_SUN),
        tells=_sunniest,
    ),
    "pipe_heat_loss": Decisive(
        channels=("collector", "loop_hot", "loop_cold", "ambient", "flow", "pump", *_SUN),
        tells=_sunniest,
    ),
    "poor_heat_transfer": Decisive(channels=(*LOOP, *_SUN), tells=_sunniest),
    "degraded_tubes": Decisive(channels=("loop_hot", "loop_cold", "flow", "pump", *_SUN)),
    "shading": Decisive(channels=(*LOOP, "ambient", *_SUN)),
    "yield_shortfall": Decisive(channels=(*LOOP, "store_top", *_SUN)),
    "reverse_circulation": Decisive(
        channels=(*LOOP, "store_top", "ambient"), levels=_fed, night=True
    ),
    "store_overheat": Decisive(
        channels=(*_STORE, "collector", "pump", "backup"), levels=_store_limit
    ),
    "scald_risk": Decisive(channels=("hot_tap", *_STORE), levels=_taps),
    "hygiene_temperature": Decisive(channels=(*_STORE, "backup"), levels=_hygiene),
    "charge_limit_low": Decisive(channels=(*LOOP, "store_top", *_SUN), levels=_start_and_limit),
    "backup_overlap": Decisive(channels=("backup", *_STORE, "collector", "pump", *_SUN)),
    "fluid_stress": Decisive(
        channels=("collector", "loop_hot", "pump", *_SUN), levels=_ageing, tells=_hottest_c
    ),
    "no_draw": Decisive(channels=(*_STORE, "pump")),
    "frost_risk": Decisive(
        channels=("collector", "loop_hot", "loop_cold", "ambient", "flow", "pump"),
        levels=_frost,
        night=True,
    ),
    "pressure_loss": Decisive(channels=("pressure", "collector"), levels=_pressure),
    "vessel_charge_lost": Decisive(
        channels=("pressure", "collector"), levels=_pressure, tells=_hottest_c
    ),
    "not_yet_fitted": Decisive(channels=("collector", "ambient", "pump", *_SUN), tells=_sunniest),
}


def decisive_hours(
    finding: Finding, days: tuple[DayFigure, ...], *, timezone: str, end_s: int
) -> tuple[int, int]:
    """Give the hours to draw, UTC epoch seconds, half-open; never outside the finding's reach."""
    decisive = DECISIVE.get(finding.kind, ALL)
    if decisive.hole:
        return finding.start_s - _EDGE_S, _hole_until_s(finding)
    if decisive.onset:
        return finding.start_s - _BEFORE_S, finding.start_s + _AFTER_S
    short = [
        item
        for item in finding.evidence
        if 0 < item.end_s - item.start_s <= LONGEST_EVIDENCE_S
    ]  # fmt: skip
    if short:
        item = min(short, key=lambda one: one.end_s - one.start_s)
        if decisive.night:
            return _night(item.start_s, timezone)
        first = local_date(item.start_s, timezone)
        start, stop = _midnight(first, timezone), _midnight(first + timedelta(days=1), timezone)
        return min(start, item.start_s - _PAD_S), max(stop, item.end_s + _PAD_S)
    night = decisive.night
    when = _worst_day(finding, days, timezone=timezone, end_s=end_s, night=night)
    start, stop = _midnight(when, timezone), _midnight(when + timedelta(days=1), timezone)
    return (start - 12 * 3600, stop - 12 * 3600) if night else (start, stop)


def _hole_until_s(finding: Finding) -> int:
    end_s = finding.end_s
    if end_s is not None and end_s - finding.start_s <= _WHOLE_HOLE_S:
        return end_s + _EDGE_S
    return finding.start_s + _OF_A_LONG_HOLE_S


def _night(time_s: int, timezone: str) -> tuple[int, int]:
    """Give noon before and noon after an instant."""
    before = local_date(time_s - 12 * 3600, timezone)
    noons = (_midnight(before + timedelta(days=n), timezone) + 12 * 3600 for n in (0, 1))
    return next(noons), next(noons)


def _worst_day(
    finding: Finding, days: tuple[DayFigure, ...], *, timezone: str, end_s: int, night: bool
) -> date:
    first = local_date(finding.start_s, timezone)
    stop_s = end_s if finding.end_s is None else finding.end_s
    last = local_date(max(finding.start_s, stop_s - 1), timezone)
    inside = [
        item
        for item in days
        if first.isoformat() <= item.date <= last.isoformat() and item.coverage > 0.5
    ]
    if not inside:
        return first
    if night:
        return date.fromisoformat(min(inside, key=lambda item: item.delivered_kwh or 0.0).date)
    tells = DECISIVE.get(finding.kind, ALL).tells
    return date.fromisoformat(max(inside, key=tells).date)


def _midnight(when: date, timezone: str) -> int:
    return int(datetime.combine(when, time(), ZoneInfo(timezone)).astimezone(UTC).timestamp())
