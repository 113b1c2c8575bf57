"""A stretch of a record for a plot: few enough points, no peak lost, gaps left open.

Pure. All channels share one time axis: a bucket of time becomes two points, and each channel shows
there its lowest and highest value in the order in which they occurred.
"""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from analysis.record import Floats, Ints, Record

_GAP = 1.5


def plot_series(
    record: Record, *, channels: Iterable[str] | None, points: int
) -> tuple[Ints, dict[str, Floats], bool]:
    """Give times, values and whether they were reduced.

    Parameters
    ----------
    record : at least one row
    channels : which ones; those never logged are left out; None means all
    points : at most about so many, gaps not counted
    """
    held = {**record.columns, **record.daily}
    names = list(held) if channels is None else [name for name in channels if name in held]
    time_s, step_s = record.start_s, record.step_s
    columns = {name: held[name] for name in names}
    reduced = len(record) > points
    if reduced:
        time_s, step_s, columns = _buckets(time_s, columns, buckets=max(points // 2, 1))
    return *_open_gaps(time_s, step_s, columns), reduced


def _buckets(
    time_s: Ints, columns: dict[str, Floats], *, buckets: int
) -> tuple[Ints, Floats, dict[str, Floats]]:
    width = max(-(-int(time_s[-1] - time_s[0] + 1) // buckets), 2)
    begin = np.arange(time_s[0], time_s[-1] + 1, width)
    edges = np.searchsorted(time_s, begin)
    rows = np.diff(edges, append=len(time_s))
    filled = rows > 0
    edges, rows = edges[filled], rows[filled]
    out_s = np.repeat(begin[filled], 2)
    out_s[1::2] += width // 2
    reduced = {name: _extremes(values, edges, rows) for name, values in columns.items()}
    return out_s, np.full(out_s.shape[0], float(width)), reduced


def _extremes(values: Floats, edges: NDArray[np.intp], rows: NDArray[np.intp]) -> Floats:
    """Give lowest and highest of each bucket in order of occurrence; NaN where it has none."""
    lowest, highest = np.fmin.reduceat(values, edges), np.fmax.reduceat(values, edges)
    either = (values == np.repeat(lowest, rows)) | (values == np.repeat(highest, rows))
    # Where a bucket first has one of them; of one without values, any later place.
    found = np.append(np.flatnonzero(either), values.shape[0] - 1)
    rising = values[found[np.searchsorted(found, edges)]] == lowest
    out = np.empty(2 * edges.shape[0])
    out[0::2] = np.where(rising, lowest, highest)
    out[1::2] = np.where(rising, highest, lowest)
    return out


def _open_gaps(
    time_s: Ints, step_s: Floats, columns: dict[str, Floats]
) -> tuple[Ints, dict[str, Floats]]:
    """Put an empty row into each gap, so that no line is drawn across it."""
    late = np.diff(time_s) > _GAP * step_s[:-1]
    place = np.flatnonzero(late) + 1
    if not place.shape[0]:
        return time_s, columns
    ends = time_s[place - 1] + np.rint(step_s[place - 1]).astype(np.int64)
    out_s = np.insert(time_s, place, ends)
    return out_s, {name: np.insert(values, place, np.nan) for name, values in columns.items()}
