"""How much heat is asked of the store: hot water by litres or heads, and the store's own loss."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.design.climate import DesignClimate
from analysis.design.system import DAYS, HOURS
from analysis.loop_pipes import ROOM_C
from analysis.record import Floats
from analysis.savings import store_loss_w_k
from analysis.site import Site
from analysis.sources import COMPLIANCE_GUIDE, SAP_2012
from analysis.units import kwh_from_j

SOURCES = (SAP_2012.at("Appendix J and section 4"), COMPLIANCE_GUIDE)

WATER_KWH_L_K = kwh_from_j(4190.0)
"""Heat that warms a litre of water by one kelvin, as SAP counts it [kWh/(l K)]."""

# How much more or less is drawn in a month than on average (SAP 2012, table 1c).
MONTH_FACTORS = (1.10, 1.06, 1.02, 0.98, 0.94, 0.90, 0.90, 0.94, 0.98, 1.02, 1.06, 1.10)
# Hot water where no mixing valve says more: SAP's mains of table J1 with its rises of table 1d
# come to 49 to 52.
_HOT_C = 50.0
# Dedicated solar volume over daily hot water, Domestic Building Services Compliance Guide.
_SOLAR_OVER_DAILY = 0.8
# Upper part of the store that backup heats where the site file is silent: EN 15316-4-3's default
# for a standing store (from memory).
_BACKUP_SHARE = 0.5
_BACKUP_C = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """What is asked of the store; sequences of twelve, January first.

    Attributes
    ----------
    basis : "litres", "occupants" or "store"
    litres_per_day : mean of the year
    hot_c : temperature of the water that is drawn
    tap_kwh : heat of that water
    store_kwh : what the store loses meanwhile
    solar_l : the part of the store that the sun alone heats
    """

    basis: Literal["litres", "occupants", "store"]
    litres_per_day: float
    hot_c: float
    tap_kwh: tuple[float, ...]
    store_kwh: tuple[float, ...]
    solar_l: float


def litres_of_occupants(heads: float) -> float:
    """Give the hot water of a household [l/day]: 25 a head and 36 (SAP 2012, line 43)."""
    return 25.0 * heads + 36.0


def tap_kwh(*, litres_per_day: float, hot_c: float, cold_c: Floats) -> Floats:
    """Give the heat of the hot water in each month; shape (12,) [kWh]."""
    litres = litres_per_day * np.array(MONTH_FACTORS) * DAYS
    return np.asarray(litres * WATER_KWH_L_K * np.maximum(hot_c - cold_c, 0.0))


def demand_of(site: Site, climate: DesignClimate) -> Demand:
    """Give the demand of a site: litres where stated, else heads, else by the size of its store."""
    store = site.store
    solar_l = store.solar_volume_l or (1.0 - _BACKUP_SHARE) * store.volume_l
    hot_c = store.mixing_valve_c or _HOT_C
    basis, litres = _litres(site, solar_l)
    cold_c = np.array(climate.cold_c)
    return Demand(
        basis=basis,
        litres_per_day=litres,
        hot_c=hot_c,
        tap_kwh=tuple(tap_kwh(litres_per_day=litres, hot_c=hot_c, cold_c=cold_c).tolist()),
        store_kwh=tuple(_store_kwh(site, solar_l, hot_c, cold_c).tolist()),
        solar_l=solar_l,
    )


def _litres(site: Site, solar_l: float) -> tuple[Literal["litres", "occupants", "store"], float]:
    if site.hot_water is not None and site.hot_water.litres_per_day is not None:
        return "litres", site.hot_water.litres_per_day
    if site.hot_water is not None and site.hot_water.occupants is not None:
        return "occupants", litres_of_occupants(site.hot_water.occupants)
    return "store", solar_l / _SOLAR_OVER_DAILY


def _store_kwh(site: Site, solar_l: float, hot_c: float, cold_c: Floats) -> Floats:
    """Give the store's loss: above at the backup's setting, below halfway from cold to hot.

    The halfway is engineering judgement.
    """
    backup = site.backup
    kept_c = backup.setpoint_c if backup is not None and backup.setpoint_c else _BACKUP_C
    solar = min(solar_l / site.store.volume_l, 1.0)
    mean_c = (1.0 - solar) * kept_c + solar * (hot_c + cold_c) / 2.0
    return np.asarray(
        store_loss_w_k(site.store) * np.maximum(mean_c - ROOM_C, 0.0) * HOURS / 1000.0
    )
