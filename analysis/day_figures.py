"""Stage one of the figures: what each local day delivered, and its parts of uncertainty.

Parts that stay the same all year end in `_u_kwh` and
are added linearly over days later, `heat_random_kwh2` is a variance and adds as such.
"""

import numpy as np

from analysis.case import Case
from analysis.compiled import given
from analysis.day_sums import counted, summed
from analysis.days import DayTable
from analysis.grid import BIN_S
from analysis.heat import PUMP_ON_PERCENT, column
from analysis.record import Bools, Floats, known_or_zero
from analysis.resting import pair_columns
from analysis.sampling_kernel import changes_squared
from analysis.sky import NO_SOURCE
from analysis.units import SECONDS_PER_HOUR, kwh_from_j

# "pair" is what stays unknown of an offset that was learnt (`analysis.offsets`).
HEAT_PARTS = ("hot", "cold", "pair", "flow", "fluid", "method")
EXPECTED_PARTS = ("gain", "loss", "pipe", "stored", "standing")

# How far off the mean temperature of collectors and pipes is at the edge of a run, and a day's gain
# by the split of its light (engineering judgement; 3 K and 1.2 % fit invented plants).
EDGE_K = 3.0
SKY_DAY_FRAC = 0.012
# A day whose sun is unknown for more than this share of its logged daylight has no expected heat
# and no irradiation: "covers exactly the samples" would not hold.
_LEAST_SUN_KNOWN = 0.95
# Heat that the backup keeps in the store anyway; above it solar heat adds to the store's loss.
_KEPT_WARM_C = 45.0
# A step that comes after a gap says nothing about how fast the power changed.
_NEXT_STEP = 1.6
# A day is unread whose loop ran for so long, and so little of that is known (judgement).
SHORTEST_RUN_S, KNOWN_RUN_FRAC = 600.0, 0.1


def day_columns(case: Case) -> dict[str, Floats]:
    """Give the figures of each day; every array of shape (days,), NaN where unknown."""
    unread = _unread(case)
    return {
        "length_s": case.days.length_s,
        "unread": unread.astype(np.float64),
        **_presence(case, unread),
        **_heat(case, unread),
        **_register_moves(case),
        **_expected(case, unread),
        "pump_kwh": _pump_kwh(case),
        "peak_collector_c": _peak_c(case),
        "carried_h": case.hours(case.expected.carried),
        "store_excess_kh": _store_excess_kh(case),
    }


def usual_sun(table: DayTable) -> int | None:
    """Give the number of the source of sun that most days have, None where no day has one."""
    number = table.column("sky_source")
    known = number[np.isfinite(number)].astype(np.int64)
    return int(np.bincount(known).argmax()) if known.size else None


def _unread(case: Case) -> Bools:
    """Tell the days whose runs the log missed: their rests say nothing of their heat.

    While the loop rests its heat is known to be nothing. A day on which it ran and hardly a row of
    that is known would look like a day without heat.
    """
    heat = case.heat
    known = np.isfinite(heat.power_w)
    if known.all():
        return np.zeros(len(case.days), dtype=np.bool_)
    runs = (column(case.record, "pump") >= PUMP_ON_PERCENT) | heat.moving
    running_s, known_s = case.seconds(runs), case.seconds(runs & known)
    return np.asarray((running_s >= SHORTEST_RUN_S) & (known_s < KNOWN_RUN_FRAC * running_s))


def _presence(case: Case, unread: Bools) -> dict[str, Floats]:
    """Give known time, first and last instant, and each channel's share of the day."""
    record, length = case.record, case.days.length_s
    logged = np.zeros(len(record), dtype=np.bool_)
    for known in case.read.values():
        logged |= known
    known = logged if case.heat.basis is None else np.isfinite(case.heat.power_w)
    presence = {
        "known_s": np.where(
            unread & (case.heat.basis is not None),
            0.0,
            np.minimum(case.seconds(known), length),
        ),
        "logged_s": np.minimum(case.seconds(logged), length),
    }
    for name, known in case.read.items():
        presence[f"seen_{name}"] = case.seconds(known) / length
    first, last = np.full(len(length), np.nan), np.full(len(length), np.nan)
    edge = case.row_edge
    some = np.flatnonzero(edge[1:] > edge[:-1])
    latest = edge[1:][some] - 1
    first[some] = record.start_s[edge[some]]
    last[some] = record.start_s[latest] + record.step_s[latest]
    return {**presence, "first_s": first, "last_s": last}


def _heat(case: Case, unread: Bools) -> dict[str, Floats]:
    heat, step = case.heat, case.record.step_s
    if heat.basis is None:
        return {}
    power, step_s = known_or_zero(heat.power_w[heat.row]), step[heat.row]
    columns = {
        "heat_kwh": kwh_from_j(case.per_day_of(heat.row, power * step_s)),
        "heat_measured": np.full(len(case.days), float(heat.measured)),
    }
    for name in HEAT_PARTS:
        if name in heat.u_w:
            summed_j = case.per_day_of(heat.row, heat.u_w[name] * step_s)
            columns[f"heat_{name}_u_kwh"] = kwh_from_j(summed_j)
    columns["heat_random_kwh2"] = _sampling_kwh2(case)
    columns |= pair_columns(case)
    nothing = case.seconds(np.isfinite(heat.power_w)) <= 0.0
    return {
        # A night at rest tells of the sensors whatever the day did.
        name: np.where(nothing | (unread & name.startswith("heat_")), np.nan, values)
        for name, values in columns.items()
    }


def _register_moves(case: Case) -> dict[str, Floats]:
    """Count how often the heat register moved on each day, and how often it fell."""
    register = case.record.get("heat_register")
    if register is None or "heat_register" not in case.channels:
        return {}
    known = np.flatnonzero(np.isfinite(register))
    step_kwh = np.zeros(len(case.record))
    step_kwh[known[1:]] = np.diff(register[known])
    return {
        "register_moves": case.per_day((step_kwh != 0.0).astype(np.float64)),
        "register_falls": case.per_day((step_kwh < 0.0).astype(np.float64)),
    }


def _sampling_kwh2(case: Case) -> Floats:
    """Give the variance that sampling adds on each day [kWh2].

    Between two samples the power went from one value to the other somewhere within the step: a
    rectangle as wide as the change (JCGM 100:2008, 4.3.7), which covers the pump's switching. Where
    it went there and back in two steps, how long it stayed is open between nothing and two steps, a
    triangle with twice the variance of the two changes; what no sample saw hides behind the same.
    """
    return _changes_kwh2(case, case.heat.power_w, next_step=_NEXT_STEP, with_returns=True) / 12.0


def _changes_kwh2(
    case: Case, power_w: Floats, *, next_step: float = np.inf, with_returns: bool = False
) -> Floats:
    """Sum over each day, squared, what a power's changes make over a step; see the kernel."""
    squared_j2 = np.empty(len(case.days))
    changes_squared(
        given(power_w),
        given(case.record.start_s),
        given(case.record.step_s),
        given(case.row_edge),
        next_step,
        with_returns,
        squared_j2,
    )
    return np.asarray(np.square(kwh_from_j(1.0)) * squared_j2)


def _expected(case: Case, unread: Bools) -> dict[str, Floats]:
    sky, loop, expected = case.sky, case.loop, case.expected
    if (sky.source == NO_SOURCE).all():
        return {}
    up = sky.sun_sine > 0.0
    light_s = summed(loop.known_s, up)
    seen_s = summed(loop.known_s, up & np.isfinite(expected.power_w))
    unknown = seen_s < _LEAST_SUN_KNOWN * light_s
    columns = {
        "expected_kwh": _sum_kwh(expected.power_w, loop.known_s),
        "expected_gain_kwh": _sum_kwh(expected.gain_w, loop.known_s),
        "expected_loss_kwh": _sum_kwh(expected.loss_w, loop.known_s),
        "expected_pipe_kwh": _sum_kwh(expected.pipe_w, loop.known_s),
        "expected_stored_kwh": _sum_kwh(expected.stored_w, loop.known_s),
        "expected_standing_kwh": _sum_kwh(expected.standing_w, loop.known_s),
    }
    lit_kwh = columns["expected_gain_kwh"] + columns["expected_standing_kwh"]
    irradiation_kwh_m2 = _irradiation(case)
    columns["expected_random_kwh2"] = _expected_random_kwh2(case, lit_kwh, irradiation_kwh_m2)
    if case.heat.basis is None:
        columns = {}
    columns["irradiation_kwh_m2"] = irradiation_kwh_m2
    columns["sky_source"] = sky.source.astype(np.float64)
    nothing = (loop.known_s.sum(axis=1) <= 0.0) | (sky.source == NO_SOURCE)
    return {
        name: np.where(
            nothing | ((unknown | unread) & name.startswith("expected_")), np.nan, values
        )
        for name, values in columns.items()
    }


def _expected_random_kwh2(case: Case, lit_kwh: Floats, seen: Floats) -> Floats:
    """Give what is uncertain anew each day in the healthy figure, as a variance [kWh2].

    The sun between two samples (as in `_sampling_kwh2`), how warm collectors and pipes were when
    the loop started and stopped, and how the sky's light fell in on that day, whose irradiation
    `seen` is [kWh/m2].
    """
    name = "irradiance_plane" if "irradiance_plane" in case.channels else "irradiance_horizontal"
    sampled = _changes_kwh2(case, column(case.record, name)) / 12.0
    per_kwh_m2 = np.divide(lit_kwh, seen, out=np.zeros(len(seen)), where=seen > 0.0)
    carried = case.expected.carried
    starts = counted(carried[:, 1:] & ~carried[:, :-1])
    held_kwh = kwh_from_j((case.model.collector_j_k + case.model.pipe_j_k) * EDGE_K)
    return np.asarray(
        sampled * per_kwh_m2**2 + 2.0 * starts * held_kwh**2 + np.square(SKY_DAY_FRAC * lit_kwh)
    )


def _irradiation(case: Case) -> Floats:
    """Give the day's irradiation in the plane; NaN where too much of the daylight is unknown."""
    lit = np.where(case.sky.sun_sine > 0.0, float(BIN_S), 0.0)
    inside = case.grid.start_s < case.days.edge_s[1:, None]
    light_s = np.where(inside, lit, 0.0).sum(axis=1)
    known = np.isfinite(case.sky.g_plane_w_m2) & inside
    known_s = np.where(known, lit, 0.0).sum(axis=1)
    mean_w_m2 = np.where(known, known_or_zero(case.sky.g_plane_w_m2), 0.0)
    total = kwh_from_j(mean_w_m2.sum(axis=1) * BIN_S)
    with np.errstate(invalid="ignore"):
        return np.where(known_s >= _LEAST_SUN_KNOWN * light_s, total, np.nan)


def _sum_kwh(power_w: Floats, known_s: Floats) -> Floats:
    return kwh_from_j(known_or_zero(power_w * known_s).sum(axis=1))


def _pump_kwh(case: Case) -> Floats:
    """Give the pump's electricity: rated power times the share of its command [kWh]."""
    pump = column(case.record, "pump")
    share = pump / 100.0
    if "pump" not in case.channels:
        share = np.where(
            np.isfinite(case.heat.power_w), case.heat.moving.astype(np.float64), np.nan
        )
    seconds = case.seconds(np.isfinite(share))
    used = case.per_day(known_or_zero(share) * case.record.step_s) * case.site.loop.pump_w
    return np.where(seconds > 0.0, kwh_from_j(used), np.nan)


def _peak_c(case: Case) -> Floats:
    """Give the hottest collector reading of each day, never smoothed [°C]."""
    peak = np.full(len(case.days), np.nan)
    for name, values in case.record.columns.items():
        if name == "collector" or name.startswith("collector_"):
            peak = np.fmax(peak, case.greatest(values))
    return peak


def _store_excess_kh(case: Case) -> Floats:
    """Give the store's warmth beyond what the backup keeps anyway, over time [K h]."""
    names = ("store_bottom", "store_middle", "store_top")
    stores = [case.binned(name) for name in names]
    seen = [values for values, name in zip(stores, names, strict=True) if name in case.channels]
    if not seen:
        return np.full(len(case.days), np.nan)
    backup = case.site.backup
    kept = backup.setpoint_c if backup is not None and backup.setpoint_c else _KEPT_WARM_C
    mean = sum(np.maximum(values - kept, 0.0) for values in seen) / len(seen)
    known = np.isfinite(mean)
    hours = np.where(known, case.loop.known_s, 0.0) / SECONDS_PER_HOUR
    return np.asarray((known_or_zero(np.asarray(mean)) * hours).sum(axis=1))
