"""What pipes, sun and store say of the flow reading, day by day.

Real flow shows itself without a meter: at half the flow the pipes differ twice as much, for the
same sun. A reading at half leaves the spread, and the store gains twice the heat that is counted.
"""

import numpy as np

from analysis.case import COMMANDED_PERCENT, Case
from analysis.day_sums import counted, summed
from analysis.faults._flow_share import BANDS_PERCENT, share_of, steady_in, sunlit_share
from analysis.faults._stillness import stillness
from analysis.grid import BIN_S
from analysis.heat import FLOW_ZERO_FRAC, PUMP_ON_PERCENT, column, flow_reading_l_min
from analysis.record import Bools, Floats, known_or_zero
from analysis.runs import day_span
from analysis.units import SECONDS_PER_HOUR, kwh_from_j

METERS = ("flow", "flow_volume", "heat_register")

# Fluid comes down where the hot pipe is warmer than the cold one and near the roof: standing pipes
# come down to the room, and a trickle leaves the roof far above them (engineering judgement).
_SPREAD_K = 4.0
_ROOF_K = 10.0
# A dead meter shows less than this share of the commissioned flow at the same command, for an hour.
_DEAD_FRAC = 0.05
_DEAD_H = 1.0
_STRANDED_BINS = 6
# Or a register stands all day while the store's bottom gains so much by the pump (judgement).
_GAINED_KWH = 2.0
# A flow that is not there: this share of the commissioned one, with the pump off for half an hour
# and both pipes this much colder than the store, or the roof, that would feed them (judgement).
_GHOST_FRAC = 0.1
_OFF_BINS = 6
_APART_K = 10.0
_GHOST_H = 2.0
# One value through pump and rest, each for so long (engineering judgement).
_STUCK_S = 10800.0
_EACH_S = 1800.0
# A store that gains less in a day's steady hours says nothing; one that falls is drawn from.
_LEAST_RISE_K = 3.0
_FALL_K = 0.3
# The heat counted rests on the flow reading.
_BY_FLOW = ("flow_and_temperatures", "flow_and_store_temperature")

Spans = dict[int, tuple[int, int]]


def binned_reading_l_min(case: Case) -> Floats:
    """Give the flow that the meter read on the bins, NaN unknown; what the rest goes by."""
    if not {"flow", "flow_volume"} & case.channels:
        return np.full(case.grid.shape, np.nan)
    return case.grid.mean(flow_reading_l_min(record=case.record, site=case.site))


def witness_columns(case: Case, read_l_min: Floats) -> dict[str, Floats]:
    """Give what each day says of the scale of the reading; arrays of shape (days,), NaN unknown.

    `meter_share` flow read over commissioned at near full command; `meter_sun_share` the same share
    as sun and spread tell it; `meter_store_share` what the store gained over the heat counted.
    """
    pump = case.binned("pump")
    steady = steady_in(pump, BANDS_PERCENT[0])
    asked = case.model.flow_l_min * pump / 100.0
    return {
        "meter_share": share_of(case, read_l_min, asked, steady & np.isfinite(read_l_min)),
        "meter_sun_share": sunlit_share(case),
        "meter_store_share": _store_share(case, steady),
    }


def dead_spans(case: Case, read_l_min: Floats) -> Spans:
    """Give bins, by day, in which nothing was counted although heat came down."""
    nothing = np.full(case.grid.shape, np.nan)
    pump = case.binned("pump")
    commanded = pump > COMMANDED_PERCENT
    hot, cold = case.binned("loop_hot"), case.binned("loop_cold")
    came = commanded & (hot - cold > _SPREAD_K) & (np.abs(case.loop.t_roof_c - hot) < _ROOF_K)
    if {"flow", "flow_volume"} & case.channels:
        asked = case.model.flow_l_min * pump / 100.0
        dead = came & (np.abs(read_l_min) < _DEAD_FRAC * asked)
        # A trickle brings warm fluid down as well, but it leaves the roof stranded.
        stranded = case.loop.t_roof_c - case.loop.t_store_bottom_c > case.model.stranded_k
        often = counted(commanded & stranded) > _STRANDED_BINS
        return _long(dead & ~often[:, None], _DEAD_H)
    if case.heat.basis != "heat_register":
        return {}
    # A register counts in steps: only a whole day without one tells.
    rise = nothing.copy()
    rise[:, 1:] = np.diff(case.binned("store_bottom"), axis=1)
    warmed = commanded & (rise > 0.0)
    # The bottom stands for half of the store, at the least.
    gained_j = summed(rise, warmed) * case.model.store_j_k / 2.0
    came_w = known_or_zero(np.abs(case.loop.heat_w)).sum(axis=1)
    still = (kwh_from_j(gained_j) >= _GAINED_KWH) & (came_w == 0.0)
    still &= counted(case.loop.known_s > 0.0) > 0.9 * case.days.length_s / BIN_S
    return day_span(warmed & still[:, None])


def ghost_spans(case: Case, read_l_min: Floats) -> Spans:
    """Give bins, by day, with a flow that the pipes deny while the pump is off."""
    pump = case.binned("pump")
    off = pump < PUMP_ON_PERCENT
    for _ in range(_OFF_BINS):
        off[:, 1:] &= off[:, :-1]
    pipes = np.maximum(case.binned("loop_hot"), case.binned("loop_cold"))
    bottom, roof = case.loop.t_store_bottom_c, case.loop.t_roof_c
    apart = (pipes < bottom - _APART_K) | (pipes < roof - _APART_K)
    shown = np.abs(read_l_min) > _GHOST_FRAC * case.model.flow_l_min
    return _long(off & apart & shown, _GHOST_H)


def stuck_spans(case: Case, read_l_min: Floats) -> Spans:
    """Give bins, by day, of one value that stayed through pump and rest."""
    del read_l_min
    if "flow" not in case.record.columns:
        return {}
    flow, pump = case.record.columns["flow"], column(case.record, "pump")
    step_s = case.record.step_s
    spans: Spans = {}
    runs = stillness(case, ("flow",))["flow"]
    moving = ~(np.abs(runs.value) <= FLOW_ZERO_FRAC * case.model.flow_l_min)
    for run in runs.longer(_STUCK_S, moving):
        # Only rows that have the value: a pump that ran in a hole says nothing.
        read = np.isfinite(flow[run.rows])
        on = read & (pump[run.rows] > COMMANDED_PERCENT)
        off = read & (pump[run.rows] < PUMP_ON_PERCENT)
        each = min(float(step_s[run.rows][flags].sum()) for flags in (on, off))
        if each >= _EACH_S:
            midnight = int(case.grid.start_s[run.day, 0])
            spans[run.day] = ((run.start_s - midnight) // BIN_S, (run.end_s - midnight) // BIN_S)
    return spans


def _long(flags: Bools, least_h: float) -> Spans:
    """Give the spans of days that have so many flagged hours."""
    enough = counted(flags) * BIN_S / SECONDS_PER_HOUR >= least_h
    return day_span(flags & enough[:, None])


def _store_share(case: Case, steady: Bools) -> Floats:
    """Give the store's gain over the heat counted, in steady hours without a draw or a backup."""
    if case.heat.basis not in _BY_FLOW:
        return np.full(len(case.days), np.nan)
    bottom, top = (np.full(case.grid.shape, np.nan) for _ in range(2))
    bottom[:, :-1] = np.diff(case.binned("store_bottom"), axis=1)
    top[:, :-1] = np.diff(case.binned("store_top"), axis=1)
    gain = 0.5 * (bottom + top)
    use = steady & (bottom > -_FALL_K) & (top > -_FALL_K)
    use &= ~(case.binned("backup") > COMMANDED_PERCENT)
    share = share_of(case, gain * case.model.store_j_k / BIN_S, case.loop.heat_w, use)
    rose = summed(gain, use) >= _LEAST_RISE_K
    return np.asarray(np.where(rose, share, np.nan))
