"""Collector and store in the last hour of the night: does one follow the other?

By dawn a collector left alone has come down to the air, whatever the store holds. One that the
store feeds stands near its bottom, night after night, however warm or cold that is.
"""

from collections.abc import Callable

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from analysis.case import Case, pump_on
from analysis.days import DayTable
from analysis.grid import BIN_S, DAY_BINS
from analysis.record import Bools, Floats, Ints
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

# The hour that tells, and the hours before it in which nothing may have run.
_DAWN_BINS, _REST_BINS = (round(hours * SECONDS_PER_HOUR / BIN_S) for hours in (1, 3))
# Nights that are held together, and days over which they may lie.
_NIGHTS, _WITHIN_DAYS = 6, 12
# The store must have been warm and cold in turn; the collector keeps to it, so near and so closely
# (engineering judgement, tuned on invented plants).
_LEAST_SPREAD_K = 2.5
_NEAR_K = (-5.0, 7.0)
_CLOSE_FRAC = 0.35
_WARMER_BELOW_K = 2.0
# Two sensors in the same air agree as well: the roof must be warmer than the season's mean.
_LEAST_WARM_K = 3.0


def dawn_columns(case: Case, night: Bools, season_c: Callable[[Ints], Floats]) -> dict[str, Floats]:
    """Give collector and store bottom at dawn, and the season; (days,), NaN unknown [°C].

    Parameters
    ----------
    case : the days
    night : shape (days, bins), bins that count as night
    season_c : the season's mean of the air at instants [°C]
    """
    morning = night & (np.arange(night.shape[1]) < DAY_BINS // 2)
    quiet = ~pump_on(case) & (case.loop.known_s > 0.0)
    if {"store_middle", "store_top"} & case.channels:
        # Nothing rises to the roof without something warmer below.
        quiet &= case.loop.t_store_hottest_c > case.loop.t_roof_c + _WARMER_BELOW_K
    means = np.full((3, len(case.days)), np.nan)
    day = np.flatnonzero(morning.any(axis=1))
    last = morning.shape[1] - morning[day, ::-1].argmax(axis=1)
    day, last = day[last >= _REST_BINS], last[last >= _REST_BINS]
    rested = quiet[day[:, None], last[:, None] - np.arange(1, _REST_BINS + 1)].all(axis=1)
    day, last = day[rested], last[rested]
    dawn = (day[:, None], last[:, None] - np.arange(_DAWN_BINS, 0, -1))
    means[0, day] = case.loop.t_roof_c[dawn].mean(axis=1)
    means[1, day] = case.loop.t_store_bottom_c[dawn].mean(axis=1)
    means[2, day] = season_c(case.grid.start_s[day, last - 1])
    return dict(zip(("dawn_roof_c", "dawn_store_c", "dawn_season_c"), means, strict=True))


def followed(table: DayTable) -> Bools:
    """Tell days at whose dawn the collector followed the store; shape (days,)."""
    roof, store = table.column("dawn_roof_c"), table.column("dawn_store_c")
    season = table.column("dawn_season_c")
    known = np.flatnonzero(np.isfinite(roof) & np.isfinite(store))
    flags = np.zeros(roof.shape, dtype=np.bool_)
    if known.size < _NIGHTS:
        return flags
    nights = sliding_window_view(known, _NIGHTS)
    over_k = (roof - store)[nights].mean(axis=1)
    near = (over_k >= _NEAR_K[0]) & (over_k <= _NEAR_K[1])
    near &= (roof - season)[nights].mean(axis=1) >= _LEAST_WARM_K
    # Mostly none is left.
    nights = nights[near]
    spread_k, apart_k = store[nights].std(axis=1), (roof - store)[nights].std(axis=1)
    # Summer time moves a day by an hour.
    edge_d = table.days.edge_s / SECONDS_PER_DAY
    close = edge_d[nights[:, -1]] - edge_d[nights[:, 0]] < _WITHIN_DAYS + 0.5
    alike = (spread_k >= _LEAST_SPREAD_K) & (apart_k <= _CLOSE_FRAC * spread_k)
    flags[nights[close & alike]] = True
    return flags
