"""Stage one of the pair's offset: what each day shows of the two pipe sensors against each other.

Fluid that has stood for hours in the dark is as warm as the room, in both pipes. What the two
sensors then read apart is their offset, and whatever else keeps the pipes apart: the one that sits
higher is in warmer air, and a warm store warms the ends of its pipes, the hot one most. So the row
also says how cold the store was, and `analysis.offsets` decides which nights count.
"""

import numpy as np

from analysis.case import Case
from analysis.day_sums import counted, mean_of
from analysis.grid import BIN_S
from analysis.heat import FLOW_ZERO_FRAC, PUMP_ON_PERCENT, column
from analysis.record import Bools, Floats, known_or_zero
from analysis.units import SECONDS_PER_HOUR, kwh_from_j

# A standing, lagged pipe comes down to the room with a time constant of one to two hours (about
# 0.16 W/K and 670 J/K a metre of 15 mm copper; engineering judgement): after eight hours some
# hundredths of a kelvin are left of a spread of ten.
REST_H = 8.0
_REST_BINS = int(REST_H * SECONDS_PER_HOUR) // BIN_S
_LEAST_H = 0.5  # a shorter rest says nothing about a change
# Heat that rests on the two pipe sensors.
PAIR_BASES = ("flow_and_temperatures", "pump_and_commissioned_flow")


def pair_columns(case: Case) -> dict[str, Floats]:
    """Give what the pair of pipe sensors rests on; arrays of shape (days,), {} without a pair.

    `heat_per_k_kwh` heat that a kelvin between the sensors makes; `heat_hot_c`, `heat_cold_c` the
    readings at which it does. Of the hours of rest in the dark: `rest_h` how long, `rest_spread_k`
    hot less cold, `rest_change_k_h` how that changes, `rest_pipe_c` the mean of both pipes,
    `rest_store_k` the store's bottom and `rest_roof_k` the collector over it.
    """
    if case.heat.basis not in PAIR_BASES:
        return {}
    rows = case.heat.row
    weight = case.heat.per_k_w_k[rows] * case.record.step_s[rows]
    share = np.abs(weight)
    size = case.per_day_of(rows, share)
    columns = {"heat_per_k_kwh": kwh_from_j(case.per_day_of(rows, weight))}
    for pipe in ("hot", "cold"):
        read = known_or_zero(column(case.record, f"loop_{pipe}")[rows])
        with np.errstate(invalid="ignore", divide="ignore"):
            columns[f"heat_{pipe}_c"] = case.per_day_of(rows, share * read) / size
    return columns | _at_rest(case)


def _at_rest(case: Case) -> dict[str, Floats]:
    hot, cold = case.binned("loop_hot"), case.binned("loop_cold")
    spread, pipe = hot - cold, (hot + cold) / 2.0
    rest = _resting(case) & (case.sky.sun_sine < 0.0) & np.isfinite(spread)
    place = np.cumsum(rest, axis=1)
    late = rest & (2 * place > place[:, -1:])
    hours = counted(rest) * BIN_S / SECONDS_PER_HOUR
    change = mean_of(spread, late) - mean_of(spread, rest & ~late)
    with np.errstate(invalid="ignore", divide="ignore"):
        rate = np.where(hours >= _LEAST_H, 2.0 * change / hours, np.nan)
    return {
        "rest_h": hours,
        "rest_spread_k": mean_of(spread, rest),
        "rest_change_k_h": rate,
        "rest_pipe_c": mean_of(pipe, rest),
        "rest_store_k": mean_of(case.loop.t_store_bottom_c - pipe, rest),
        "rest_roof_k": mean_of(case.loop.t_roof_c - pipe, rest),
    }


def _resting(case: Case) -> Bools:
    """Tell bins before which nothing moved, and that was known, for `REST_H` hours."""
    pump, flow = case.binned("pump"), case.binned("flow")
    zero = FLOW_ZERO_FRAC * case.site.loop.flow_l_min
    still = (case.loop.moving_frac == 0.0) & (case.loop.known_s > 0.0)
    still &= ~(pump >= PUMP_ON_PERCENT) & ~(np.abs(flow) > zero)
    # A day's table may be longer than the day: bins beyond its end belong to no time.
    real = case.grid.start_s < case.days.edge_s[1:, None]
    count = np.concatenate(([0], np.cumsum(still[real])))
    long = np.zeros(count.size - 1, dtype=np.bool_)
    long[_REST_BINS:] = count[_REST_BINS + 1 :] - count[1:-_REST_BINS] == _REST_BINS
    rest = np.zeros(still.shape, dtype=np.bool_)
    rest[real] = long
    return np.asarray(rest & still)
