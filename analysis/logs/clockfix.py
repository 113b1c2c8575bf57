"""A logger's clock that is known to be wrong: its stamps are put right as the map says."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from analysis.days import local_midnight_s
from analysis.logs.walltime import utc_from_wall
from analysis.site import LogMap
from analysis.units import SECONDS_PER_MONTH


def clock_error_s(
    stamp_s: NDArray[np.int64], log_map: LogMap, *, zone: str
) -> NDArray[np.int64] | None:
    """Give by how much the clock was ahead at each stamp.

    Parameters
    ----------
    stamp_s : ndarray of int64, shape (n,)
        Stamps as logged, UTC epoch seconds [s].
    log_map : LogMap
        What it says of the clock.
    zone : str
        IANA name of the zone that the clock runs on; the days of the map are days of it.

    Returns
    -------
    ndarray of int64, shape (n,), or None
        To be taken off the stamps [s]; None where the map says nothing.
    """
    offset, drift = log_map.clock_offset_min, log_map.clock_drift_min_per_month
    if offset is None and drift is None:
        return None
    error_s = np.full(stamp_s.shape, 60.0 * (offset or 0.0))
    if log_map.clock_from is not None:
        since_s = local_midnight_s(log_map.clock_from, zone)
        error_s += 60.0 * (drift or 0.0) * (stamp_s - since_s) / SECONDS_PER_MONTH
        error_s[stamp_s < since_s] = 0.0
    if log_map.clock_until is not None:
        error_s[stamp_s >= local_midnight_s(log_map.clock_until, zone)] = 0.0
    return np.round(error_s).astype(np.int64)


def in_span(log_map: LogMap, stamp_s: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Mark the stamps of a clock that a map puts right by a stretch of days with both ends [s]."""
    begins, ends = log_map.clock_from, log_map.clock_until
    if log_map.clock_offset_min is None or begins is None or ends is None:
        return np.zeros(stamp_s.shape, dtype=np.bool_)
    first_s, last_s = local_midnight_s(begins, "UTC"), local_midnight_s(ends, "UTC")
    return (stamp_s >= first_s) & (stamp_s < last_s)


def span_keys(stamp_s: NDArray[np.int64], shift_s: int, *, zone: str | None) -> str:
    """Write the keys of `[log]` that add this to stamps of a clock, and to no others.

    Parameters
    ----------
    stamp_s : ndarray of int64, shape (n,)
        Stamps of the clock, as if they were UTC [s].
    shift_s : int
        What is to be added [s].
    zone : str or None
        What the clock runs on; the keys count in UTC. None: the stamps are UTC.
    """
    last_s = np.array([stamp_s[-1], stamp_s[-1] + shift_s], dtype=np.int64)
    if zone is not None:
        last_s, _ = utc_from_wall(last_s, zone=zone)
    return (
        f"clock_from = {_day(int(stamp_s.min()))}, "
        f"clock_until = {_day(int(stamp_s.max())) + timedelta(days=1)}, "
        f"clock_offset_min = {(last_s[0] - last_s[1]) / 60.0:.10g}"
    )


def _day(stamp_s: int) -> date:
    return datetime.fromtimestamp(stamp_s, tz=UTC).date()


def clock_says(log_map: LogMap) -> str | None:
    """Say in plain words how stamps are put right, None where they stay as they are."""
    offset, drift = log_map.clock_offset_min, log_map.clock_drift_min_per_month
    if offset is None and drift is None:
        return None
    way = "ahead" if (offset or 0.0) >= 0.0 else "behind"
    said = f"the clock is taken to be {abs(offset or 0.0):g} minutes {way}"
    if drift is not None:
        said += f" and to {'gain' if drift >= 0.0 else 'lose'} {abs(drift):g} minutes a month"
    if log_map.clock_from is not None:
        said += f" from {log_map.clock_from} on"
    if log_map.clock_until is not None:
        said += f" until {log_map.clock_until}"
    return f"{said}, as the map says, and its stamps are put right by that"
