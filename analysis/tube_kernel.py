"""The compiled loop of `analysis.loop_state`: heat-pipe tubes that go on warming at their limit."""

from typing import NamedTuple

import numpy as np

from analysis.compiled import compiled
from analysis.record import Bools, Floats


class Tubes(NamedTuple):
    """What holds of limited heat pipes throughout, in SI and °C.

    They begin to shut at `begins_c` and are shut `band_k` above; the sun warms them over the air by
    `most_k_w` for each watt of gain at most; `rate_k_w` is what a watt warms them by within a bin.
    """

    begins_c: float
    band_k: float
    most_k_w: float
    rate_k_w: float
    loss_w_k: float
    loss_w_k2: float


@compiled
def tubes_over_k(
    tubes: Tubes, apart: Bools, roof_c: Floats, air_c: Floats, gain_w: Floats, over_k: Floats
) -> None:
    """Write how much hotter than the collector sensor the tubes stand, 0 where not apart [K].

    Parameters
    ----------
    tubes : what holds throughout
    apart : shape (days, bins), tube and manifold may differ
    roof_c, air_c, gain_w : shape (days, bins), collector sensor and air [°C], optical gain [W]
    over_k : shape (days, bins), written
    """
    t = tubes
    for day in range(apart.shape[0]):
        over = 0.0
        for number in range(apart.shape[1]):
            if not apart[day, number]:
                over = 0.0
                over_k[day, number] = over
                continue
            at_c, outside_c, sun_w = roof_c[day, number], air_c[day, number], gain_w[day, number]
            # A share of the tubes' heat still passes near the limit.
            shut = min(max((at_c - t.begins_c) / t.band_k, 0.0), 1.0)
            was_c = at_c + over
            excess_k = was_c - outside_c
            damping = 1.0 + t.rate_k_w * (t.loss_w_k + t.loss_w_k2 * np.abs(excess_k))
            tube_c = outside_c + (excess_k + shut * sun_w * t.rate_k_w) / damping
            tube_c = min(tube_c, max(outside_c + t.most_k_w * sun_w, was_c))
            over = max(tube_c - at_c, 0.0)
            over_k[day, number] = over
