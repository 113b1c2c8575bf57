"""What the design methods know of a system: lumped numbers of collectors, store and demand.

Every monthly sequence has twelve entries, January first.
"""

import calendar
from dataclasses import dataclass

import numpy as np

from analysis.record import Floats
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

MONTHS = 12
HOURS_PER_DAY = SECONDS_PER_DAY / SECONDS_PER_HOUR
# Of a year that is no leap year, as the published monthly methods count.
DAYS: Floats = np.array([calendar.monthrange(2025, month)[1] for month in range(1, 13)], float)
HOURS: Floats = DAYS * HOURS_PER_DAY


@dataclass(frozen=True, slots=True, kw_only=True)
class Collectors:
    """One array as the methods see it; area and coefficients share one reference area.

    Attributes
    ----------
    area_m2 : reference area [m2]
    eta0 : peak efficiency, hemispherical [-]
    iam : incidence angle modifier of the whole irradiation [-], in each month
    a1_w_m2k, a2_w_m2k2 : loss coefficients
    plane_kwh_m2 : irradiation in the plane in each month [kWh/m2]
    """

    area_m2: float
    eta0: float
    iam: tuple[float, ...]
    a1_w_m2k: float
    a2_w_m2k2: float
    plane_kwh_m2: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class System:
    """Collectors, store, demand and air: all that a method needs.

    Attributes
    ----------
    collectors : one for each array
    store_l, solar_l : the store, and the part of it that the sun alone heats [l]
    load_kwh : heat asked of the store in each month, its own loss included [kWh]
    tap_kwh : heat of the water drawn in each month [kWh]
    litres_per_day : mean of the hot water drawn [l]
    hot_c : temperature at which it is drawn [°C]
    cold_c, air_c : mains and outdoor air, means of the months [°C]
    capacity_flow_w_k : heat that the loop's flow carries for each kelvin [W/K]
    pipes_w_k : loss of the loop's pipes [W/K], None: see `pipe_loss_w_k`
    exchanger_w_k : what the coil in the store transfers [W/K], None: as the method assumes
    """

    collectors: tuple[Collectors, ...]
    store_l: float
    solar_l: float
    load_kwh: tuple[float, ...]
    tap_kwh: tuple[float, ...]
    litres_per_day: float
    hot_c: float
    cold_c: tuple[float, ...]
    air_c: tuple[float, ...]
    capacity_flow_w_k: float
    pipes_w_k: float | None = None
    exchanger_w_k: float | None = None

    @property
    def area_m2(self) -> float:
        """The reference area of all arrays together [m2]."""
        return sum(one.area_m2 for one in self.collectors)

    @property
    def optical_m2(self) -> float:
        """The area times peak efficiency, summed over the arrays [m2]."""
        return sum(one.area_m2 * one.eta0 for one in self.collectors)

    @property
    def pipe_loss_w_k(self) -> float:
        """The loss of the pipes [W/K], 5 and half of one for each m2 where it is not known.

        References
        ----------
        EN 15316-4-3:2017, default.
        """
        return 5.0 + 0.5 * self.area_m2 if self.pipes_w_k is None else self.pipes_w_k

    def mean(self, name: str) -> float:
        """Give a coefficient's mean over the arrays, weighted by area."""
        return sum(one.area_m2 * float(getattr(one, name)) for one in self.collectors) / (
            self.area_m2
        )

    def absorbed_kwh(self) -> Floats:
        """Give what the absorbers take in each month, modifiers included; shape (12,) [kWh]."""
        return np.asarray(
            np.sum(
                [
                    one.area_m2 * one.eta0 * np.array(one.iam) * np.array(one.plane_kwh_m2)
                    for one in self.collectors
                ],
                axis=0,
            )
        )
