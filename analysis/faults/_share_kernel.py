"""The compiled loop of `analysis.faults._flow_share`: two sums over the same bins of each day."""

import numpy as np

from analysis.compiled import compiled
from analysis.record import Bools, Floats


@compiled
def sum_both(
    above: Floats, below: Floats, use: Bools, known_s: Floats, share: Floats, used_s: Floats
) -> None:
    """Write one sum over another on each day, in chosen bins that know both.

    Parameters
    ----------
    above, below : shape (days, bins), NaN unknown
    use : shape (days, bins), the chosen bins
    known_s : shape (days, bins), how much of each bin is known [s]
    share, used_s : shape (days,), written: NaN where nothing stands below; the known time of the
        bins summed [s]
    """
    for day in range(use.shape[0]):
        top, bottom, seconds = 0.0, 0.0, 0.0
        for place in range(use.shape[1]):
            if use[day, place] and known_s[day, place] > 0.0:
                one, other = above[day, place], below[day, place]
                if np.isfinite(one) and np.isfinite(other):
                    top += one
                    bottom += other
                    seconds += known_s[day, place]
        share[day] = top / bottom if bottom > 0.0 else np.nan
        used_s[day] = seconds
