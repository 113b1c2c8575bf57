"""What proves that a loop circulates."""

import numpy as np

from analysis.case import Case
from analysis.expected import still_idle
from analysis.record import Bools
from analysis.runs import bin_runs

# A rise that no idle store shows (judgement).
_PROOF_RISE_K = 2.0


def circulating(case: Case) -> Bools:
    """Tell bins that prove circulation: heat came down, measured or seen in the store.

    Where heat is only estimated from a pump command, the command proves nothing: the sun must have
    been strong, the roof near the store, and the store bottom must have risen during the run.
    """
    idle = still_idle(case.loop, case.model, case.sky.gain_w)
    carried = np.asarray(case.expected.carried & ~idle)
    if case.heat.measured:
        return carried
    gain, sine = case.sky.gain_w, case.sky.sun_sine
    strong = np.where(np.isfinite(gain), gain > 0.35 * case.model.brightest_w, sine > 0.4)
    near = case.loop.t_roof_c - case.loop.t_store_bottom_c < 0.7 * case.model.stranded_k
    proved = np.zeros(carried.shape, dtype=np.bool_)
    store = case.loop.t_store_bottom_c
    for run in bin_runs(carried, least_s=1800.0, bridge_s=1800.0):
        rise = store[run.day, run.bins]
        known = rise[np.isfinite(rise)]
        if known.size > 1 and known.max() - known[0] >= _PROOF_RISE_K:
            proved[run.day, run.bins] = True
    return np.asarray(proved & carried & strong & near)
