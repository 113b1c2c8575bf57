"""Hourly weather of the period that a log covers, for sites without an irradiance sensor."""

from dataclasses import dataclass

import numpy as np

from analysis.record import Floats, Ints
from analysis.units import SECONDS_PER_HOUR

HOUR_S = int(SECONDS_PER_HOUR)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weather:
    """Hourly means; every array of shape (n,).

    Attributes
    ----------
    time_s : start of each hour, UTC epoch seconds, rising
    ghi_w_m2, dni_w_m2, dhi_w_m2 : global and diffuse horizontal, direct normal [W/m2]
    t_ambient_c : outdoor air [°C]
    wind_m_s : wind speed [m/s]
    """

    time_s: Ints
    ghi_w_m2: Floats
    dni_w_m2: Floats
    dhi_w_m2: Floats
    t_ambient_c: Floats
    wind_m_s: Floats

    def irradiance_at(self, time_s: Ints) -> tuple[Floats, Floats, Floats]:
        """Give global, direct and diffuse of the hour that each instant falls in [W/m2]."""
        hour, inside = self._hour(time_s)
        ghi, dni, dhi = (
            np.where(inside, values[hour], np.nan)
            for values in (self.ghi_w_m2, self.dni_w_m2, self.dhi_w_m2)
        )
        return ghi, dni, dhi

    def ambient_at(self, time_s: Ints) -> Floats:
        """Give the outdoor temperature, linear between the middles of hours [°C]."""
        _, inside = self._hour(time_s)
        middle = (self.time_s + HOUR_S // 2).astype(np.float64)
        between = np.interp(time_s.astype(np.float64), middle, self.t_ambient_c)
        return np.where(inside, between, np.nan)

    def _hour(self, time_s: Ints) -> tuple[Ints, np.ndarray]:
        place = np.searchsorted(self.time_s, time_s, side="right") - 1
        hour = np.clip(place, 0, len(self.time_s) - 1)
        inside = (place >= 0) & (time_s - self.time_s[hour] < HOUR_S)
        return hour, inside
