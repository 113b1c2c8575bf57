"""When a loop stands still rightly: a full store, and the lock of a collector that got hot from it."""

import numpy as np

from analysis.case import Case
from analysis.expected import store_full
from analysis.record import Bools

# The lock opens somewhat below the cut-out (common practice, no source).
_RELEASE_K = 20.0


def full_or_locked(case: Case) -> Bools:
    """Tell bins in which the controller is right not to pump.

    The store is at its limit, or was earlier that day and the collector, hot since, has not come
    back below its release temperature.
    """
    full = store_full(case.loop, case.site)
    roof = case.loop.t_roof_c
    hot = roof > case.site.controller.collector_cutout_c - _RELEASE_K
    excused = np.zeros(full.shape, dtype=np.bool_)
    held = np.zeros(full.shape[0], dtype=np.bool_)
    for number in range(full.shape[1]):
        held = full[:, number] | (held & (hot[:, number] | np.isnan(roof[:, number])))
        excused[:, number] = held
    return excused
