"""SAP 2012, Appendix H: the yearly yield of the United Kingdom's energy rating.

Quoted from three public implementations. Its collectors are rated by their zero-loss efficiency
and loss alone; shading is left to the irradiation given.
"""

import numpy as np

from analysis.design.system import System
from analysis.record import Floats
from analysis.sources import SAP_2012

SOURCES = (SAP_2012.at("Appendix H"),)

_COMBINED_SHARE = 0.3  # of the volume that backup heats, what counts for the sun


def performance(ratio: float) -> float:
    """Give the collector performance factor from loss over efficiency (H10) [-]."""
    if ratio < 20.0:
        return 0.97 - 0.0367 * ratio + 0.0006 * ratio**2
    return max(0.693 - 0.0108 * ratio, 0.0)


def effective_volume_l(*, solar_l: float, store_l: float) -> float:
    """Give the effective solar volume of a store that backup heats, too (H14) [l]."""
    return solar_l + _COMBINED_SHARE * max(store_l - solar_l, 0.0)


def yearly_kwh(
    *,
    available_kwh: float,
    load_kwh: float,
    loss_over_efficiency: float,
    effective_l: float,
    litres_per_day: float,
) -> float:
    """Give the solar input of the year (H17) [kWh].

    Parameters
    ----------
    available_kwh : area times efficiency times irradiation of the year (H7)
    load_kwh : hot water drawn in the year
    loss_over_efficiency : 0.892 (a1 + 45 a2) over efficiency (H4)
    effective_l : effective solar volume
    litres_per_day : mean hot water drawn
    """
    if load_kwh <= 0.0 or available_kwh <= 0.0 or litres_per_day <= 0.0:
        return 0.0
    used = 1.0 - np.exp(-load_kwh / available_kwh)
    store = np.clip(1.0 + 0.2 * np.log(effective_l / litres_per_day), 0.0, 1.0)
    return float(available_kwh * used * performance(loss_over_efficiency) * store)


def monthly_kwh(system: System) -> Floats:
    """Give the solar input, shared over the months by their irradiation; shape (12,) [kWh]."""
    sun = np.sum(
        [one.area_m2 * one.eta0 * np.array(one.plane_kwh_m2) for one in system.collectors], axis=0
    )
    loss = 0.892 * (system.mean("a1_w_m2k") + 45.0 * system.mean("a2_w_m2k2"))
    year = yearly_kwh(
        available_kwh=float(sun.sum()),
        load_kwh=sum(system.tap_kwh),
        loss_over_efficiency=loss / (system.optical_m2 / system.area_m2),
        effective_l=effective_volume_l(solar_l=system.solar_l, store_l=system.store_l),
        litres_per_day=system.litres_per_day,
    )
    total = float(sun.sum())
    return np.asarray(year * sun / total) if total > 0.0 else np.zeros(len(sun))
