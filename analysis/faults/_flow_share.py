"""How much of the commissioned flow moved, day by day: metered, else from spread and sun.

From the sun a collector that gives too little looks like more flow, never like less: only a lack of
flow can be concluded from it.
"""

import numpy as np

from analysis.case import Case
from analysis.record import Bools, Floats
from analysis.units import SECONDS_PER_HOUR

# The flow at commissioning belongs to full command; far below it pumps are not linear
# (engineering judgement).
_NEAR_FULL_PERCENT = 70.0
# Sun for which the healthy figure is large against its own error (engineering judgement).
_BRIGHT_FRAC = 0.4
# Both pipes differ by this at least, or their sensors decide (engineering judgement).
_LEAST_SPREAD_K = 2.0
_LEAST_H = 1.0


def metered_share(case: Case) -> Floats:
    """Give metered over commissioned flow at near full command; shape (days,), NaN unknown [-]."""
    pump, flow = case.binned("pump"), case.binned("flow")
    asked = case.model.flow_l_min * pump / 100.0
    return _share(case, flow, asked, _steady(pump) & np.isfinite(flow))


def sunlit_share(case: Case) -> Floats:
    """Give the share that spread and healthy heat tell; shape (days,), NaN unknown [-]."""
    pump = case.binned("pump")
    spread = case.binned("loop_hot") - case.binned("loop_cold")
    carried_w = case.model.flow_w_k * pump / 100.0 * spread
    healthy = case.expected.power_w
    bright = case.sky.gain_w > _BRIGHT_FRAC * case.model.brightest_w
    use = _steady(pump) & bright & case.expected.carried & (spread > _LEAST_SPREAD_K)
    return _share(case, healthy, carried_w, use & np.isfinite(healthy))


def share_span(case: Case, day: int) -> tuple[int, int]:
    """Give start and end of the pump's steady time on a day [UTC epoch s]."""
    seen = np.flatnonzero(_steady(case.binned("pump"))[day])
    return case.span_s(day, int(seen[0]), int(seen[-1]) + 1)


def _steady(pump: Floats) -> Bools:
    """Tell bins at near full command whose neighbours are as well: no start or stop within."""
    on = pump >= _NEAR_FULL_PERCENT
    steady = np.zeros(on.shape, dtype=np.bool_)
    steady[:, 1:-1] = on[:, 1:-1] & on[:, :-2] & on[:, 2:]
    return steady


def _share(case: Case, above: Floats, below: Floats, use: Bools) -> Floats:
    known = use & (case.loop.known_s > 0.0) & np.isfinite(above) & np.isfinite(below)
    top = np.where(known, above, 0.0).sum(axis=1)
    bottom = np.where(known, below, 0.0).sum(axis=1)
    enough = (np.where(known, case.loop.known_s, 0.0).sum(axis=1) / SECONDS_PER_HOUR) >= _LEAST_H
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(enough & (bottom > 0.0), top / bottom, np.nan))
