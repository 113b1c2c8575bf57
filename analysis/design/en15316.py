"""EN 15316-4-3:2017, method 2: heat of a solar water heater in each month, from climate and load.

The standard itself was not opened: the formulas were read in two public implementations (the Dutch
NTA 8800 and the Slovenian national method) and recomputed against their asserted values. National
factors that those put on top are left out.

As in the worksheet form of SAP 10.2 Appendix H, the load holds what the store loses, so that the
result is the heat that the loop brings into the store.
"""

import numpy as np
from numpy.typing import ArrayLike

from analysis.design.system import HOURS, System
from analysis.record import Floats
from analysis.sources import EN_15316_4_3

SOURCES = (EN_15316_4_3,)

X_MOST = 18.0
"""Largest X that the correlation was fitted to [-]; larger ones count as this."""

_Y1, _X1, _Y2, _X2, _Y3 = 1.029, -0.065, -0.245, 0.0018, 0.0215  # table B.18
_LOSS_AT_K = 40.0  # temperature difference at which the quadratic loss is taken
_STORE_L_M2 = 75.0
_WANTED_C = 40.0  # of the hot water, the standard's default; nothing to do with the tap's


def loop_w_k(system: System) -> float:
    """Give the loss of collectors and pipes [W/K]."""
    collectors = sum(
        one.area_m2 * (one.a1_w_m2k + _LOSS_AT_K * one.a2_w_m2k2) for one in system.collectors
    )
    return collectors + system.pipe_loss_w_k


def loop_efficiency(system: System) -> float:
    """Give what the exchanger leaves of the collectors' heat [-].

    An exchanger transfers 100 W/K for each square metre where nothing else is known.
    """
    exchanger = system.exchanger_w_k or 100.0 * system.area_m2
    lost = sum(one.area_m2 * one.eta0 * one.a1_w_m2k for one in system.collectors)
    return 1.0 - lost / exchanger


def reference_c(*, cold_c: ArrayLike, air_c: ArrayLike, wanted_c: float = _WANTED_C) -> Floats:
    """Give the reference temperature of hot water heating in each month [°C].

    Parameters
    ----------
    cold_c, air_c : array_like
        Mains and outdoor air [°C].
    wanted_c : float
        Temperature of the hot water [°C]; 40 is the standard's default.
    """
    return np.asarray(11.6 + 1.18 * wanted_c + 3.86 * np.asarray(cold_c) - 1.32 * np.asarray(air_c))


def correlation(x: ArrayLike, y: ArrayLike) -> Floats:
    """Give the share of the load that the sun covers [-], between 0 and 1.

    Parameters
    ----------
    x, y : array_like
        Loss and gain over load [-]; NaN gives NaN.
    """
    x, y = np.clip(x, 0.0, X_MOST), np.maximum(y, 0.0)
    share = y * (_Y1 + y * (_Y2 + y * _Y3)) + x * (_X1 + x * _X2)
    return np.asarray(np.clip(share, 0.0, 1.0))


def x_and_y(system: System) -> tuple[Floats, Floats]:
    """Give the months' X and Y, not yet held to the span of the fit; shape (12,) [-].

    A month without load has X and Y of 0.
    """
    air, load = np.array(system.air_c), np.array(system.load_kwh)
    loop = loop_efficiency(system)
    store = (_STORE_L_M2 * system.area_m2 / system.solar_l) ** 0.25
    lost_kwh = loop_w_k(system) * HOURS / 1000.0
    over_k = reference_c(cold_c=system.cold_c, air_c=air) - air
    asked = load > 0.0
    x = np.divide(lost_kwh * loop * over_k * store, load, out=np.zeros_like(load), where=asked)
    y = np.divide(system.absorbed_kwh() * loop, load, out=np.zeros_like(load), where=asked)
    return x, y


def monthly_kwh(system: System, sun_ratio: ArrayLike = 1.0) -> Floats:
    """Give the heat that the loop brings into the store in each month; shape (12,) [kWh].

    Parameters
    ----------
    system : collectors, store and demand
    sun_ratio : array_like, shape (..., 12)
        So many times the irradiation that the system knows [-]; gives heat of this shape.
    """
    x, y = x_and_y(system)
    return np.asarray(correlation(x, y * np.asarray(sun_ratio)) * np.array(system.load_kwh))
