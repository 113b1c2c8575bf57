"""f-chart for liquid systems that heat water: the monthly method that the others grew from.

Fitted to simulations of flat plates with losses of 2.1 to 8.3 W/(m2 K); good evacuated tubes lose
less, so for them it is an extrapolation, which `outside_the_fit` says.
"""

import numpy as np
from numpy.typing import ArrayLike

from analysis.design.system import HOURS, System
from analysis.record import Floats
from analysis.sources import DUFFIE_BECKMAN, F_CHART

SOURCES = (F_CHART, DUFFIE_BECKMAN.at("ch. 20"))

LOSS_SPAN_W_M2K = (2.1, 8.3)
"""Loss coefficients behind the fit (Duffie & Beckman, from memory)."""
X_MOST, Y_MOST = 18.0, 3.0

_LOSS_AT_K = 40.0  # as EN 15316-4-3 takes the quadratic loss
_STORE_L_M2 = 75.0
_STORE_SPAN_L_M2 = (37.5, 300.0)
_SET_SPAN_C = (50.0, 70.0)
# What an exchanger in the loop leaves of the collectors' heat: the book's own examples.
_EXCHANGER = 0.97


def polynomial(x: ArrayLike, y: ArrayLike) -> Floats:
    """Give f as the fit says it [-], before it is held to 0 and 1.

    Parameters
    ----------
    x, y : array_like
        Loss and gain over load [-]; NaN gives NaN.

    References
    ----------
    Duffie & Beckman, eq. 20.3.1.
    """
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    return 1.029 * y - 0.065 * x - 0.245 * y**2 + 0.0018 * x**2 + 0.0215 * y**3


def store_factor(litres_per_m2: float) -> float:
    """Give what a larger or smaller store makes of X [-], between 37.5 and 300 l/m2."""
    low, high = _STORE_SPAN_L_M2
    return float((np.clip(litres_per_m2, low, high) / _STORE_L_M2) ** -0.25)


def hot_water_factor(*, set_c: ArrayLike, mains_c: ArrayLike, air_c: ArrayLike) -> Floats:
    """Give what heating water alone makes of X [-].

    Parameters
    ----------
    set_c, mains_c, air_c : array_like
        Least useful temperature of the hot water, mains, outdoor air [°C].
    """
    mains, air = np.asarray(mains_c), np.asarray(air_c)
    return np.asarray((11.6 + 1.18 * np.asarray(set_c) + 3.86 * mains - 2.32 * air) / (100.0 - air))


def x_of(*, loss_w_k: ArrayLike, air_c: ArrayLike, hours: ArrayLike, load_kwh: ArrayLike) -> Floats:
    """Give X before its corrections [-]: loss against 100 °C over the load."""
    lost_kwh = np.asarray(loss_w_k) * (100.0 - np.asarray(air_c)) * np.asarray(hours) / 1000.0
    return np.asarray(lost_kwh / np.asarray(load_kwh))


def outside_the_fit(system: System) -> str | None:
    """Say which of the system's facts lie outside the fit; None where none does."""
    loss = system.mean("a1_w_m2k") + _LOSS_AT_K * system.mean("a2_w_m2k2")
    low, high = LOSS_SPAN_W_M2K
    if loss < low:
        return f"the collector loses {loss:.1f} W/(m²·K), the fit begins at {low:g}"
    if loss > high:
        return f"the collector loses {loss:.1f} W/(m²·K), the fit ends at {high:g}"
    return None


def monthly_kwh(system: System) -> Floats:
    """Give the solar heat of each month; shape (12,) [kWh].

    The collector's mean-temperature coefficients are turned into those at the inlet with the
    loop's flow; pipes count as in EN 15316-4-3, as a part of the loss.
    """
    load = np.array(system.load_kwh)
    air = np.array(system.air_c)
    loss = sum(
        one.area_m2 * (one.a1_w_m2k + _LOSS_AT_K * one.a2_w_m2k2) for one in system.collectors
    )
    inlet = 1.0 / (1.0 + loss / (2.0 * system.capacity_flow_w_k))
    share = inlet * _EXCHANGER
    asked = np.where(load > 0.0, load, np.inf)
    x = x_of(
        loss_w_k=share * (loss + system.pipe_loss_w_k),
        air_c=air,
        hours=HOURS,
        load_kwh=asked,
    )
    x = x * store_factor(system.solar_l / system.area_m2)
    x = x * hot_water_factor(
        set_c=np.clip(system.hot_c, *_SET_SPAN_C), mains_c=system.cold_c, air_c=air
    )
    y = share * system.absorbed_kwh() / asked
    f = polynomial(np.clip(x, 0.0, X_MOST), np.clip(y, 0.0, Y_MOST))
    return np.asarray(np.clip(f, 0.0, 1.0) * load)
