"""The loop's pressure: what it is with the loop cold, and how it answers to the fluid's expansion.

The gas of an expansion vessel keeps p·V/T; what the fluid grows by, the gas loses. So the inverse
of the absolute pressure falls in a straight line as the fluid grows, and the slope is the inverse
of the gas charge, whatever has leaked: the charge of a vessel of 18 l at 1.5 bar is 45 bar·l. The
gas is as warm as the room, which resting pipes tell at night and the air outdoors follows by day.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.day_sums import counted, mean_of, summed
from analysis.days import DayTable
from analysis.fluid import density_kg_m3, specific_heat_j_kgk
from analysis.grid import BIN_S
from analysis.heat import PUMP_ON_PERCENT
from analysis.loop_model import USUAL_PIPE_M
from analysis.loop_pipes import pipe_for
from analysis.pressure_kernel import LEAST_BINS, slope_of
from analysis.quantiles import median_of_rows
from analysis.record import Bools, Floats, known_or_zero
from analysis.runs import day_peak
from analysis.site import Site
from analysis.sources import Source
from analysis.units import KELVIN_AT_0_C, SECONDS_PER_HOUR

VESSEL_RULES = Source(
    "VDI 6002 part 1 and EN 12977, practice of expansion vessels",
    "gas at static head + 0.3 to 0.5 bar, cold fill 0.3 to 0.5 bar above it; from memory",
)
AIR_BAR = 1.013
BAR_PER_M = 0.1
# Contents: of collectors a square metre, of the coil a litre of store (common practice, no source).
_COLLECTOR_L_M2 = {"heat_pipe": 0.6, "direct_flow": 1.0, "flat_plate": 0.8}
_COIL_L_L = 0.025
_USUAL_C = 50.0
# The loop is cold from midnight to six, nothing moving, the roof below this (judgement).
_NIGHT_BINS = 6 * int(SECONDS_PER_HOUR) // BIN_S
_COLD_ROOF_C = 50.0
# Pipes that stay warmer than a room at night carry the store's heat up: they say nothing of the
# gas (engineering judgement).
_COLD_PIPES_C = 30.0
_LEAST_COLD_BINS = 6
# Fluid boils at 110 °C and above even in a loop that lost its pressure; below this there is no
# steam (boiling line of 40 % glycol, EuroSun 2008).
_NO_STEAM_C = 95.0
_EMPTY_BAR = 0.1
_REFERENCE_K = 15.0 + KELVIN_AT_0_C

COLD = "cold_pressure_bar"
_GROWN, _GAS = "cold_grown_l", "cold_gas_c"
_SUMS = ("gg", "ga", "aa", "gy", "ay", "yy", "n", "g2", "t")
# What the gas may be warmer and colder with the growth within a day, beside what goes with the air:
# where the air is logged, and where it is only estimated (engineering judgement) [K].
_GAS_K, _GAS_UNSEEN_K = 0.3, 0.8


def static_bar(site: Site) -> float | None:
    """Give the weight of the fluid up to the array's top, None where the height is unknown."""
    height_m = site.loop.height_m
    return None if height_m is None else BAR_PER_M * height_m


def vessel_bar_l(site: Site) -> float | None:
    """Give the vessel's gas charge as stated [bar l, absolute], None where it is unknown."""
    loop = site.loop
    if loop.vessel_l is None or loop.vessel_precharge_bar is None:
        return None
    return loop.vessel_l * (loop.vessel_precharge_bar + AIR_BAR)


def grown_l(case: Case, bins: int | None = None) -> Floats:
    """Give by how much the loop's fluid has grown against 15 °C [l].

    Parameters
    ----------
    case : the days
    bins : so many of each day from midnight on; None: all

    Returns
    -------
    shape (days, bins), NaN where collector or store is unknown; pipes without a sensor count as
    the mean of roof and store while fluid moves, else as a room
    """
    facts, first = case.site.loop, np.s_[:, :bins]
    roof, store = case.loop.t_roof_c[first], case.loop.t_store_bottom_c[first]
    moving = case.loop.moving_frac[first] > 0.5
    pipes = 0.5 * (case.binned("loop_hot") + case.binned("loop_cold"))[first]
    pipes = np.where(np.isfinite(pipes), pipes, np.where(moving, 0.5 * (roof + store), 20.0))
    by_volume = float(_density(case, _USUAL_C)) * float(
        specific_heat_j_kgk(
            fluid=facts.fluid, concentration_frac=facts.concentration_frac, t_c=_USUAL_C
        )
    )
    pipe = pipe_for(flow_l_min=facts.flow_l_min, fluid_j_m3k=by_volume)
    collector_l = sum(
        array.area_m2 * _COLLECTOR_L_M2[array.collector] for array in case.site.arrays
    )
    pipe_l = (facts.pipe_length_m or USUAL_PIPE_M) * pipe.content_l_m
    coil_l = case.site.store.volume_l * _COIL_L_L
    return np.asarray(
        collector_l * _growth(case, roof)
        + pipe_l * _growth(case, pipes)
        + coil_l * _growth(case, store)
    )


def _density(case: Case, t_c: Floats | float) -> Floats:
    loop = case.site.loop
    return density_kg_m3(fluid=loop.fluid, concentration_frac=loop.concentration_frac, t_c=t_c)


def _growth(case: Case, t_c: Floats) -> Floats:
    return np.asarray(_density(case, 15.0) / _density(case, t_c) - 1.0)


def cold_columns(case: Case) -> dict[str, Floats]:
    """Give the pressure of each night's resting, cold loop; arrays of shape (days,), NaN unknown.

    `cold_pressure_bar` median, gauge; `cold_grown_l` how much the fluid is grown then, against
    15 °C; `cold_gas_c` the resting pipes' temperature.
    """
    night = np.s_[:, :_NIGHT_BINS]
    pressure, pump = case.binned("pressure")[night], case.binned("pump")[night]
    moving = case.loop.moving_frac[night]
    still = np.where(np.isfinite(pump), pump < PUMP_ON_PERCENT, moving == 0.0)
    cold = still & ~(case.loop.t_roof_c[night] > _COLD_ROOF_C) & np.isfinite(pressure)
    pipes = 0.5 * (case.binned("loop_hot")[night] + case.binned("loop_cold")[night])
    cold &= ~(pipes > _COLD_PIPES_C)
    return {
        COLD: _median(pressure, cold),
        _GROWN: _median(grown_l(case, _NIGHT_BINS), cold),
        _GAS: _median(pipes, cold),
    }


def _median(values: Floats, chosen: Bools) -> Floats:
    kept = np.where(chosen, values, np.nan)
    enough = counted(np.isfinite(kept)) >= _LEAST_COLD_BINS
    middle = np.full(values.shape[0], np.nan)
    middle[enough] = median_of_rows(kept[enough])
    return middle


def reference_bar(table: DayTable, charge_bar_l: float | None) -> Floats:
    """Give each night's pressure as it would be with fluid and gas at 15 °C [bar, gauge].

    Parameters
    ----------
    table : days with the columns of `cold_columns`
    charge_bar_l : gas charge of the vessel; None: growth is not taken out

    Returns
    -------
    shape (n,); where growth or gas are not known, they are not taken out
    """
    warm = (table.column(_GAS) + KELVIN_AT_0_C) / _REFERENCE_K
    inverse = np.where(np.isfinite(warm), warm, 1.0) / (table.column(COLD) + AIR_BAR)
    if charge_bar_l is not None:
        inverse = inverse + known_or_zero(table.column(_GROWN)) / charge_bar_l
    return np.asarray(1.0 / inverse - AIR_BAR)


def swing_columns(case: Case) -> dict[str, Floats]:
    """Give sums from which slopes of several days are fitted; arrays of shape (days,).

    Each is taken about the day's own means, over bins without steam: of growth g [l], air a [K],
    and y, the inverse of the absolute pressure [1/bar], named `swing_gg` and so on; `swing_g2` is
    the mean square of growth, `swing_t` the same times the square of what the gas's warmth may add
    to y. Days whose own gas pressure empties the vessel are left out.
    """
    pressure = case.binned("pressure") + AIR_BAR
    grown, air = grown_l(case), case.loop.t_ambient_c
    use = np.isfinite(pressure) & (pressure > 0.3) & np.isfinite(grown) & np.isfinite(air)
    use &= case.loop.t_roof_c < _NO_STEAM_C
    # Below its own gas pressure a vessel is empty and takes up nothing.
    if case.site.loop.vessel_precharge_bar is not None:
        use &= case.binned("pressure") > case.site.loop.vessel_precharge_bar + _EMPTY_BAR
    number = counted(use)
    inverse = 1.0 / pressure
    g, a, y = (_about_mean(values, use) for values in (grown, air, inverse))
    pairs = ((g, g), (g, a), (a, a), (g, y), (a, y), (y, y))
    sums = [(one * other).sum(axis=1) for one, other in pairs]
    g2 = sums[0] / np.maximum(number, 1)
    level = summed(inverse, use)
    gas_k = _GAS_K if "ambient" in case.channels else _GAS_UNSEEN_K
    gas = gas_k / _REFERENCE_K * level / np.maximum(number, 1)
    return {
        f"swing_{name}": np.where(number >= LEAST_BINS, values, np.nan)
        for name, values in zip(
            _SUMS, (*sums, number.astype(np.float64), g2, g2 * gas**2), strict=True
        )
    }


def peak_columns(case: Case) -> dict[str, Floats]:
    """Give each day's highest pressure, and its climb without steam; shape (days,) [bar]."""
    pressure = case.binned("pressure")
    steamless = np.where(case.loop.t_roof_c < _NO_STEAM_C, pressure, np.nan)
    return {
        "peak_bar": day_peak(pressure),
        "swing_bar": day_peak(steamless) + day_peak(-steamless),
    }


def _about_mean(values: Floats, use: Bools) -> Floats:
    return np.where(use, values - mean_of(values, use)[:, None], 0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Slopes:
    """How the inverse pressure answers to a litre of growth, with its standard uncertainty.

    Both of shape (k,) [1/(bar l)], NaN where the sums tell nothing. The inverse of a slope is the
    gas charge that answers so.
    """

    per_l: Floats
    u_per_l: Floats


def swing_sums(table: DayTable) -> Floats:
    """Give each day's sums of `swing_columns` for `slopes_of`; shape (n, 9), NaN unknown."""
    return np.stack([table.column(f"swing_{name}") for name in _SUMS], axis=1)


def slopes_of(sums: Floats) -> Slopes:
    """Fit growth and air to sums of `swing_sums`, added up over the days of each fit; (k, 9)."""
    # Of few rows, which are sooner gone through than a compiled loop is loaded.
    fitted = np.array([slope_of(sums, row) for row in range(len(sums))]).reshape(-1, 2)
    return Slopes(per_l=fitted[:, 0], u_per_l=fitted[:, 1])
