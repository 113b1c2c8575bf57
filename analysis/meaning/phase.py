"""By how many hours the day of a log is off the sun of its place, roughly.

Only whole hours matter here: a logger on another zone, or a place that is not known. The fine
error of a clock is the matter of `analysis.clock_check`.
"""

import math
from collections.abc import Iterator

import numpy as np

from analysis.meaning.times import Times
from analysis.record import Floats, Ints
from analysis.sun import sun_vectors
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

_MOST_ROWS = 2500
_STEP_S = 1800
# A column that follows no shifted sun better than this says nothing of the day.
_LEAST_ALIKE = 0.55
# Less than this is no other zone: the hours of a store lag the sun as well (judgement).
_LEAST_H_KNOWN, _LEAST_H = 3.0, 2.0


def shift_to_sun_s(
    values: Floats, times: Times, *, latitude_deg: float, longitude_deg: float, known_place: bool
) -> float:
    """Give what to add to the stamps so that the day of the data is that of the sun.

    Parameters
    ----------
    values : ndarray, shape (columns, m)
        Values at the sampled rows [as written].
    times : Times
        The rows.
    latitude_deg, longitude_deg : float
        The place, or one assumed [°].
    known_place : bool
        Whether it is the place of the log.

    Returns
    -------
    float
        Whole half hours [s]; 0 where the stamps fit or nothing tells.
    """
    stride = max(times.stamp_s.size // _MOST_ROWS, 1)
    stamps = times.stamp_s[::stride]
    thin = values[:, ::stride]
    usable = [row for row in thin if np.isfinite(row).sum() > 0.5 * row.size]
    if not usable:
        return 0.0
    centred = []
    for row in usable:
        filled = np.where(np.isfinite(row), row, np.nanmedian(row))
        # The sun shows in the size of a value, not in its outliers.
        low, high = np.percentile(filled, [1.0, 99.0])
        filled = np.clip(filled, low, high)
        if high > low:
            centred.append((filled - filled.mean()) / filled.std())
    if not centred:
        return 0.0
    data = np.array(centred)
    shifts = np.arange(0, int(SECONDS_PER_DAY), _STEP_S)
    alike = np.zeros((len(shifts), len(data)))
    for number, up in enumerate(_turned(stamps, shifts, latitude_deg, longitude_deg)):
        sun = np.maximum(up, 0.0)
        if sun.std() > 0.0:
            alike[number] = data @ ((sun - sun.mean()) / sun.std()) / sun.size
    best = int(np.argmax(alike.max(axis=0)))
    if alike[:, best].max() < _LEAST_ALIKE:
        return 0.0
    shift_s = float(shifts[int(np.argmax(alike[:, best]))])
    if shift_s > 0.5 * SECONDS_PER_DAY:
        shift_s -= SECONDS_PER_DAY
    least_h = _LEAST_H_KNOWN if known_place else _LEAST_H
    return shift_s if abs(shift_s) >= least_h * SECONDS_PER_HOUR else 0.0


def _turned(
    stamps: Ints, shifts: Ints, latitude_deg: float, longitude_deg: float
) -> Iterator[Floats]:
    """Give the sine of the sun's height for each shift: the sky turns about the pole."""
    sun = sun_vectors(
        time_s=stamps, latitude_deg=latitude_deg, longitude_deg=longitude_deg, elevation_m=0.0
    )
    sine, cosine = math.sin(math.radians(latitude_deg)), math.cos(math.radians(latitude_deg))
    pole = sun.up * sine + sun.north * cosine
    south = sun.up * cosine - sun.north * sine
    for shift in shifts.tolist():
        turn = 2.0 * math.pi * shift / SECONDS_PER_DAY
        yield pole * sine + (south * math.cos(turn) + sun.east * math.sin(turn)) * cosine
