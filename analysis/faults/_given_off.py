"""Heat that a pump running without sun takes out of the store, and how far night heat is known.

Worked out from what pipes and collectors give off to the air: metered at a spread of one or two
kelvin it would be more error than heat.
"""

import numpy as np

from analysis.case import Case
from analysis.day_sums import summed
from analysis.faults._protocol import History
from analysis.record import Bools, Floats, known_or_zero
from analysis.results import Bounded
from analysis.units import kwh_from_j


def given_off_kwh(case: Case, flags: Bools) -> Floats:
    """Give what the loop gave off in flagged bins of each day; shape (days,) [kWh].

    Heat pipes carry nothing outwards; what is left of them is a manifold like a pipe.
    """
    loop, model = case.loop, case.model
    between_c = (loop.t_roof_c + loop.t_store_bottom_c) / 2.0
    over_k = np.where(np.isfinite(loop.t_mean_c), loop.t_mean_c, between_c) - loop.t_ambient_c
    loss_w = model.pipe_w_k * over_k
    if not model.one_way:
        loss_w = loss_w + model.loss_w(over_k)
    lost_j = np.maximum(known_or_zero(loss_w), 0.0) * loop.known_s
    return kwh_from_j(summed(lost_j, flags))


# What pipes of unknown make and a collector give off at night is known to so many times; without an
# outdoor sensor the season's mean stands for the air (engineering judgement; invented plants lay
# within 1.4 and 2.7).
_TIMES, _TIMES_WITHOUT_AIR = 1.7, 3.0


def about(history: History, kwh: float) -> Bounded:
    """Give bounds to heat that a night took."""
    times = _TIMES if "seen_ambient" in history.table.columns else _TIMES_WITHOUT_AIR
    return Bounded(value=kwh, low=kwh / times, high=kwh * times)
