"""The only place with 3600, 3.6e6 and 273.15: conversions at the edges of formulas."""

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Number = TypeVar("Number", float, NDArray[np.float64])

SECONDS_PER_HOUR = 3600.0
SECONDS_PER_DAY = 86400.0
SECONDS_PER_MONTH = 365.25 / 12.0 * SECONDS_PER_DAY
JOULES_PER_KWH = 3.6e6
KELVIN_AT_0_C = 273.15


def kwh_from_j(energy_j: Number) -> Number:
    """Turn joules into kilowatt-hours."""
    return energy_j / JOULES_PER_KWH


def j_from_kwh(energy_kwh: Number) -> Number:
    """Turn kilowatt-hours into joules."""
    return energy_kwh * JOULES_PER_KWH


def m3_s_from_l_min(flow_l_min: Number) -> Number:
    """Turn litres per minute into cubic metres per second."""
    return flow_l_min / 60_000.0


def l_min_from_m3_s(flow_m3_s: Number) -> Number:
    """Turn cubic metres per second into litres per minute."""
    return flow_m3_s * 60_000.0
