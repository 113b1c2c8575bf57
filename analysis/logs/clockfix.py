"""A logger's clock that is known to be wrong: its stamps are put right as the map says."""

import numpy as np
from numpy.typing import NDArray

from analysis.days import local_midnight_s
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
