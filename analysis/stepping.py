"""Are the values samples at an instant or means over the step? The pump's edges tell.

Where a pump comes on or goes off, a mean over the step lies between off and on; a sample is one or
the other. A speed-controlled pump has values between anyway and tells nothing.
"""

from typing import Literal

import numpy as np

from analysis.case import Case
from analysis.days import DayTable
from analysis.heat import column
from analysis.record import Floats, Ints

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
    # A value at an edge is the first or the last above nothing.
    change = np.flatnonzero(on[1:] != on[:-1])
    here = change + on[change + 1]
    here = here[(here > 0) & (here < len(record) - 1)]
    before, after = pump[here - 1], pump[here + 1]
    start = (before == 0.0) & (after > 0.0)
    stop = (before > 0.0) & (after == 0.0)
    near = record.start_s[here + 1] - record.start_s[here - 1] <= 2.2 * record.step_s[here]
    edge = near & (start | stop)
    between = edge & (pump[here] < _BETWEEN_FRAC * np.where(start, after, before))
    return {
        "edges": _counted(case, here[edge]),
        "edges_between": _counted(case, here[between]),
        "rows_on": _counted(case, np.flatnonzero(on)),
        "rows_full": _counted(case, np.flatnonzero(pump >= _FULL_PERCENT)),
    }


def _counted(case: Case, rows: Ints) -> Floats:
    """Count rows by day."""
    return np.diff(np.searchsorted(rows, case.row_edge)).astype(np.float64)


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
