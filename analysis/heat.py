"""Heat that the loop carried into the store, row by row, with what makes it uncertain.

The figure is net: heat carried back to the roof counts negative. It comes from the best basis the
log offers (`BASES`); a row whose inputs are missing is unknown (NaN), never zero, but a loop known
to stand still delivers nothing whatever the temperatures say.

Every part of the uncertainty that stays the same at a site (sensor limits, flow, fluid, method) is
kept apart so that it can be added linearly over days; only sampling is random.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from analysis.fluid import density_kg_m3, mean_specific_heat_j_kgk, relative_uncertainty_frac
from analysis.logs.registers import increments
from analysis.record import Bools, Floats, Ints, Record, known_or_zero
from analysis.site import Site
from analysis.sources import EN_1434, GUM, IEC_60751, MID_ANNEX_VI
from analysis.uncertainty import COVERAGE_95, temperature_standard_uncertainty_k
from analysis.units import j_from_kwh, m3_s_from_l_min

SOURCES = (EN_1434, GUM, IEC_60751, MID_ANNEX_VI)

_Value = TypeVar("_Value", bound=np.generic)

# What a basis needs, best first. Names are those the report prints.
BASES: tuple[tuple[str, frozenset[str]], ...] = (
    ("flow_and_temperatures", frozenset({"flow", "loop_hot", "loop_cold"})),
    ("flow_and_temperatures", frozenset({"flow_volume", "loop_hot", "loop_cold"})),
    ("heat_register", frozenset({"heat_register"})),
    ("heat_power", frozenset({"heat_power"})),
    ("pump_and_commissioned_flow", frozenset({"pump", "loop_hot", "loop_cold"})),
    ("flow_and_store_temperature", frozenset({"flow", "collector", "store_bottom"})),
    ("pump_and_store_temperature", frozenset({"pump", "collector", "store_bottom"})),
)

# Standard uncertainties that no standard gives (common practice, no source).
COMMISSIONED_FLOW_FRAC = 0.15  # flow set once and drifting: 95 % limits of about 30 %
COIL_NTU = 1.5  # transfer units of a store's coil at the commissioned flow: usual 1 to 2
COIL_EFFECTIVENESS_FRAC = 0.17
# A sensor on the manifold or in its pocket reads some kelvin off the fluid that leaves it; that of
# the store sits in one layer, the coil in several.
ROOF_PLACE_K = 1.5
STORE_PLACE_K = 1.0
STRAPPED_ON_FRAC = 0.01  # a clamp reads part of the room: the spread shrinks by up to some percent
LOGGER_POWER_FRAC = 0.05
# MID 2014/32/EU Annex VI, class 2 meter at a spread of 10 K and low flow: 4.45 % (limits).
REGISTER_FRAC = 0.0445 / COVERAGE_95

# A flow reading below this share of the commissioned flow is a meter's zero, not a flow.
FLOW_ZERO_FRAC = 0.02
# Below this share of the commissioned flow a loop is as good as blocked (usual check: measured flow
# under 10 % of nominal), and a meter is near its start: it may read half or twice what passes
# (engineering judgement, standard uncertainty).
TRICKLE_FRAC = 0.12
TRICKLE_U_FRAC = 0.4
PUMP_ON_PERCENT = 1.0
# No sky gives more than this in a plane for minutes (reflecting cloud edges; common practice).
BRIGHTEST_W_M2 = 1400.0
# What stood hot on the roof comes down within this time (common practice, no source).
SLUG_S = 600.0
# A pipe fed by the roof is no warmer than the roof; 2 K for both sensors.
CARRIED_UP_K = 2.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeatFlow:
    """Heat into the store, row by row; arrays of shape (n,).

    Attributes
    ----------
    basis : which of `BASES`, or None
    power_w : net heat into the store [W], NaN unknown
    capacity_w_k : heat capacity flow while fluid moves, else 0 [W/K]; NaN where not known
    moving : fluid moves, as far as the log tells
    row : shape (m,), the rows in which the heat is more than a known nought
    u_w : name to systematic standard uncertainty of these rows, shape (m,); each fully correlated
        over time [W]
    per_k_w_k : what a kelvin more between the two pipes adds to `power_w` [W/K], 0 where it does
        not rest on them
    """

    basis: str | None
    power_w: Floats
    capacity_w_k: Floats
    moving: Bools
    row: Ints
    u_w: Mapping[str, Floats]
    per_k_w_k: Floats

    @property
    def measured(self) -> bool:
        """Whether heat or flow was measured, rather than taken from the pump's command."""
        return self.basis is not None and not self.basis.startswith("pump_and")


def heat_basis(channels: frozenset[str]) -> str | None:
    """Give the best basis these channels offer, or None."""
    return next((name for name, needs in BASES if needs <= channels), None)


def heat_flow(*, site: Site, record: Record, channels: frozenset[str]) -> HeatFlow:
    """Give the heat into the store for every row.

    Parameters
    ----------
    site : facts valid for the whole record
    record : the rows
    channels : channels ever seen at the site; the basis must not change with a day's gaps
    """
    basis = heat_basis(channels)
    if basis == "heat_register":
        return _from_register(record)
    if basis == "heat_power":
        return _from_logger_power(record)
    if basis is None:
        return _unknown(record)
    return _from_flow(site, record, channels, basis)


def column(record: Record, name: str) -> Floats:
    """Give a channel's values, all NaN where it was never logged."""
    values = record.get(name)
    return values if values is not None else np.full(len(record), np.nan)


def flow_reading_l_min(*, record: Record, site: Site) -> Floats:
    """Give the measured flow, from the flow channel or the volume register [l/min]."""
    flow = _flow_as_read_l_min(record)
    return np.where(_no_flow(flow, site), 0.0, flow)


def _flow_as_read_l_min(record: Record) -> Floats:
    flow = record.get("flow")
    if flow is not None:
        return flow
    register = record.get("flow_volume")
    if register is None:
        return np.full(len(record), np.nan)
    return increments(register, stamp_s=record.start_s, across_gaps=False) / (record.step_s / 60.0)


def _no_flow(flow_l_min: Floats, site: Site) -> Bools:
    """Tell readings that are a meter's zero."""
    return np.asarray(np.abs(flow_l_min) <= FLOW_ZERO_FRAC * site.loop.flow_l_min)


def _from_flow(site: Site, record: Record, channels: frozenset[str], basis: str) -> HeatFlow:
    measured = bool({"flow", "flow_volume"} & channels)
    pump = column(record, "pump")
    # The fluid stands for most of the day: all is worked out for the other rows.
    if measured:
        flow = _flow_as_read_l_min(record)
        rows = np.flatnonzero(~_no_flow(flow, site))
        unread = np.isnan(flow[rows])
        if unread.any():
            # A pump that is off moves nothing when the meter's value is missing.
            rows = rows[~(unread & (pump[rows] < PUMP_ON_PERCENT))]
        flow = flow[rows]
        u_flow = site.sensors.flow_percent / 100.0 / COVERAGE_95
    else:
        rows = np.flatnonzero(~(pump < PUMP_ON_PERCENT))
        flow = pump[rows] / 100.0 * site.loop.flow_l_min
        u_flow = COMMISSIONED_FLOW_FRAC
    if basis.endswith("store_temperature"):
        return _from_store_temperature(site, record, rows, flow, u_flow, basis)
    hot, cold = column(record, "loop_hot")[rows], column(record, "loop_cold")[rows]
    capacity = _capacity_w_k(site, flow, hot=hot, cold=cold)
    power = capacity * (hot - cold)
    if not measured:
        idle = _beyond_any_sun(site, record, _among(record, rows, power))[rows]
        power, capacity = np.where(idle, 0.0, power), np.where(idle, 0.0, capacity)
    upwards = _carried_up(column(record, "collector")[rows], pump[rows], hot, power)
    power = np.where(upwards, -power, power)
    per_k_w_k, known_w = known_or_zero(capacity), known_or_zero(power)
    size = np.abs(per_k_w_k)
    clamp = STRAPPED_ON_FRAC if site.sensors.strapped_on else 0.0
    trickle = measured & (np.abs(flow) < TRICKLE_FRAC * site.loop.flow_l_min)
    u_w = {
        "hot": size * _sensor_u_k(site, hot),
        "cold": size * _sensor_u_k(site, cold),
        "flow": known_w * np.where(trickle, TRICKLE_U_FRAC, u_flow),
        "fluid": known_w * _fluid_u(site),
        "method": known_w * clamp,
    }
    return HeatFlow(
        basis=basis,
        power_w=_among(record, rows, power),
        capacity_w_k=_among(record, rows, capacity),
        moving=_among(record, rows, np.abs(capacity) > 0.0),
        row=rows,
        u_w=u_w,
        per_k_w_k=_among(record, rows, np.where(upwards, -per_k_w_k, per_k_w_k)),
    )


def _among(record: Record, rows: Ints, values: NDArray[_Value]) -> NDArray[_Value]:
    """Give values of some rows among all, 0 or False in the others."""
    among = np.zeros(len(record), dtype=values.dtype)
    among[rows] = values
    return among


def _carried_up(roof: Floats, pump: Floats, hot: Floats, power: Floats) -> Bools:
    """Tell rows where warm fluid rises to a cold roof while the meter shows no direction.

    With the pump off and the collector below both pipes, a spread of hot over cold cannot come
    from the roof: the store is feeding it, and the heat counts negative.
    """
    return (power > 0.0) & (pump < PUMP_ON_PERCENT) & (roof < hot - CARRIED_UP_K)


def _capacity_w_k(site: Site, flow_l_min: Floats, *, hot: Floats, cold: Floats) -> Floats:
    loop = site.loop
    at_meter = cold if site.sensors.flow_in == "cold" else hot
    density = density_kg_m3(
        fluid=loop.fluid, concentration_frac=loop.concentration_frac, t_c=at_meter
    )
    specific = mean_specific_heat_j_kgk(
        fluid=loop.fluid,
        concentration_frac=loop.concentration_frac,
        t_hot_c=hot,
        t_cold_c=cold,
    )
    return np.asarray(m3_s_from_l_min(flow_l_min) * density * specific)


def _sensor_u_k(site: Site, t_c: Floats) -> Floats:
    return known_or_zero(
        temperature_standard_uncertainty_k(
            temperature_class=site.sensors.temperature_class, t_c=t_c
        )
    )


def _fluid_u(site: Site) -> float:
    return relative_uncertainty_frac(
        fluid=site.loop.fluid, concentration_frac=site.loop.concentration_frac
    )


def _from_store_temperature(
    site: Site, record: Record, rows: Ints, flow: Floats, u_flow: float, basis: str
) -> HeatFlow:
    """Estimate from roof and store alone: a coil hands over a share of the difference."""
    roof, store = column(record, "collector")[rows], column(record, "store_bottom")[rows]
    capacity = _capacity_w_k(site, flow, hot=np.clip(roof, None, 120.0), cold=store)
    share = coil_effectiveness(np.where(flow > 0.0, flow / site.loop.flow_l_min, np.nan))
    power = capacity * share * (roof - store)
    idle = _beyond_any_sun(site, record, _among(record, rows, power))[rows]
    power, capacity = np.where(idle, 0.0, power), np.where(idle, 0.0, capacity)
    known = known_or_zero(power)
    per_k = known_or_zero(capacity * share)
    u_w = {
        "hot": per_k * np.hypot(ROOF_PLACE_K, _sensor_u_k(site, roof)),
        "cold": per_k * np.hypot(STORE_PLACE_K, _sensor_u_k(site, store)),
        "flow": known * u_flow,
        "fluid": known * _fluid_u(site),
        "method": known * COIL_EFFECTIVENESS_FRAC,
    }
    return HeatFlow(
        basis=basis,
        power_w=_among(record, rows, power),
        capacity_w_k=_among(record, rows, capacity),
        moving=_among(record, rows, capacity > 0.0),
        row=rows,
        u_w=u_w,
        per_k_w_k=np.zeros(len(record)),
    )


def _beyond_any_sun(site: Site, record: Record, power: Floats) -> Bools:
    """Tell rows in which the commissioned flow cannot be moving, whatever the pump is told.

    More heat than any sun gives, for longer than a slug of hot fluid takes to come down: the heat
    stays on the roof.
    """
    beyond = power > BRIGHTEST_W_M2 * site.area_m2
    change = np.flatnonzero(np.diff(np.concatenate(([False], beyond, [False])).astype(np.int8)))
    for first, last in zip(change[::2].tolist(), change[1::2].tolist(), strict=True):
        if record.step_s[first:last].sum() < SLUG_S:
            beyond[first:last] = False
    return beyond


def coil_effectiveness(flow_share: Floats | float) -> Floats:
    """Give the share of the difference to the store that a coil hands over [-].

    A coil in a large body of water is an exchanger of capacity ratio 0: 1 - exp(-NTU), and the
    transfer units grow as the flow falls. NaN gives NaN.
    """
    return np.asarray(1.0 - np.exp(-COIL_NTU / np.asarray(flow_share, dtype=np.float64)))


def _from_register(record: Record) -> HeatFlow:
    """Take the meter's own sum, spread over each row's step."""
    register = column(record, "heat_register")
    # Heat counted across a gap was not logged step by step; coverage says that it is missing.
    gained_kwh = increments(register, stamp_s=record.start_s, across_gaps=False)
    power = j_from_kwh(gained_kwh) / record.step_s
    return _given(record, "heat_register", power, REGISTER_FRAC)


def _from_logger_power(record: Record) -> HeatFlow:
    return _given(record, "heat_power", column(record, "heat_power"), LOGGER_POWER_FRAC)


def _given(record: Record, basis: str, power: Floats, u_frac: float) -> HeatFlow:
    pump = column(record, "pump")
    moving = (pump >= PUMP_ON_PERCENT) | (np.isnan(pump) & (np.abs(power) > 0.0))
    rows = np.flatnonzero(power != 0.0)
    return HeatFlow(
        basis=basis,
        power_w=power,
        capacity_w_k=np.full(len(record), np.nan),
        moving=moving,
        row=rows,
        u_w={"method": known_or_zero(power[rows]) * u_frac},
        per_k_w_k=np.zeros(len(record)),
    )


def _unknown(record: Record) -> HeatFlow:
    nothing = np.full(len(record), np.nan)
    pump = column(record, "pump")
    return HeatFlow(
        basis=None,
        power_w=nothing,
        capacity_w_k=nothing,
        moving=pump >= PUMP_ON_PERCENT,
        row=np.zeros(0, dtype=np.int64),
        u_w={},
        per_k_w_k=np.zeros(len(record)),
    )
