"""Pumping that can bring nothing: the collector is no warmer than the store, and no frost is near.

The controller's frost function, and a clock that puts the day into the night, run pumps as well:
the first in the cold, the second with a collector that is warmer than the store.
"""

import numpy as np

from analysis.case import Case, pump_on
from analysis.record import Bools

# Frost functions start at 3 to 5 °C (common practice, no source), and a roof radiates below air.
FROST_C = 8.0
# A collector this little over the store brings nothing (engineering judgement).
_NO_GAIN_K = 2.0


def no_frost(case: Case) -> Bools:
    """Tell bins that are too warm for a frost function; unknown is not warm."""
    roof, air = case.binned("collector"), case.binned("ambient")
    return np.asarray(np.fmin(roof, air) > FROST_C) & np.isfinite(roof)


def useless(case: Case) -> Bools:
    """Tell bins in which the pump runs and the collector is no warmer than the store bottom."""
    cold = case.loop.t_roof_c <= case.loop.t_store_bottom_c + _NO_GAIN_K
    return np.asarray(pump_on(case) & cold & (case.loop.known_s > 0.0))
