"""Are the values samples at an instant or means over the step? The pump's edges tell.

Where a pump comes on or goes off, a mean over the step lies between off and on; a sample is one or
the other. A speed-controlled pump has values between anyway and tells nothing.
"""

from typing import Literal

import numpy as np

from analysis.case import Case
from analysis.days import DayTable
from analysis.heat import column
from analysis.record import Floats

# Engineering judgement: fewer edges say nothing; a value under this share of its running neighbour
# lies between. A switched pump is seen at its full command or off; means of one are full for a good
# part of the time, and a controlled one hardly ever.
_FEWEST_EDGES = 40
_BETWEEN_FRAC = 0.85
_ALWAYS_FULL_FRAC = 0.98
_OFTEN_FULL_FRAC = 0.3
_MEANS_FRAC = 0.25
_FULL_PERCENT = 95.0


def edge_columns(case: Case) -> dict[str, Floats]:
    """Count each day's pump edges, those with a value between, and rows running and at full."""
    record = case.record
    pump = column(record, "pump")
    on = pump > 0.0
    edges, between = np.zeros(len(record)), np.zeros(len(record))
    if len(record) > 2:
        before, here, after = pump[:-2], pump[1:-1], pump[2:]
        near = record.start_s[2:] - record.start_s[:-2] <= 2.2 * record.step_s[1:-1]
        start = near & (before == 0.0) & (here > 0.0) & (after > 0.0)
        stop = near & (before > 0.0) & (here > 0.0) & (after == 0.0)
        neighbour = np.where(start, after, before)
        edges[1:-1] = start | stop
        between[1:-1] = (start | stop) & (here < _BETWEEN_FRAC * neighbour)
    return {
        "edges": case.per_day(edges),
        "edges_between": case.per_day(between),
        "rows_on": case.per_day(on.astype(np.float64)),
        "rows_full": case.per_day((pump >= _FULL_PERCENT).astype(np.float64)),
    }


def values_kind(table: DayTable) -> Literal["sample", "mean"] | None:
    """Give what the edges of all days say, None where they do not tell."""
    edges, between, on, full = (
        float(np.nansum(table.column(name)))
        for name in ("edges", "edges_between", "rows_on", "rows_full")
    )
    if edges < _FEWEST_EDGES:
        return None
    if full >= _ALWAYS_FULL_FRAC * on:
        return "sample"
    means = full >= _OFTEN_FULL_FRAC * on and between > _MEANS_FRAC * edges
    return "mean" if means else None
