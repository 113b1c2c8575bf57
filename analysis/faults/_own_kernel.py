"""The compiled loop of `analysis.faults._flow_share`: the latest sound days before each."""

import numpy as np

from analysis.compiled import compiled
from analysis.record import Floats


@compiled
def follow(
    share: Floats,
    nothing: float,
    edge_frac: float,
    least: int,
    agreeing: int,
    near_frac: float,
    lowest: float,
    highest: float,
    recent: Floats,
    relative: Floats,
    level: Floats,
) -> None:
    """Write each day's share over the edge of the sound days before it, and that edge.

    Parameters
    ----------
    share : shape (days,), NaN unknown
    nothing : up to here a share tells of no flow, and the day is left out
    edge_frac : which quantile of the latest sound days is their edge
    least, agreeing : so many sound days make a level, or so many that lie near the edge
    near_frac : how near that is, as a share of the edge
    lowest, highest : a day is sound that lies between, as shares of the edge
    recent : shape (2, m), scratch: the latest sound days as they came, in a ring, and by size
    relative, level : shape (days,), written where there is a level
    """
    ring, ordered = recent[0], recent[1]
    count = 0
    for day in range(share.shape[0]):
        own = share[day]
        if not own > nothing:
            continue
        held = min(count, ring.shape[0])
        edge = 0.0
        if held > 0:
            place = edge_frac * (held - 1)
            below = int(place)
            low, high = ordered[below], ordered[min(below + 1, held - 1)]
            part, apart = place - below, high - low
            # From the nearer side, so that rounding never leaves the two.
            edge = low + apart * part if part < 0.5 else high - apart * (1.0 - part)
        known = count >= least
        if not known:
            near = 0
            for at in range(held):
                near += np.abs(ring[at] - edge) <= near_frac * edge
            known = near >= agreeing
        if known:
            level[day], relative[day] = edge, own / edge
            if not lowest <= relative[day] <= highest:
                continue
        slot = count % ring.shape[0]
        if held == ring.shape[0]:
            held -= 1
            at = 0
            while ordered[at] != ring[slot]:
                at += 1
            for later in range(at, held):
                ordered[later] = ordered[later + 1]
        at = held
        while at > 0 and ordered[at - 1] > own:
            ordered[at] = ordered[at - 1]
            at -= 1
        ordered[at] = ring[slot] = own
        count += 1
