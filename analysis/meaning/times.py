"""The rows that are looked at, and the sun over them.

Rows are a sample: some weeks in whole days, so that the edges of a pump and the course of a day are
still there.
"""

from dataclasses import dataclass

import numpy as np

from analysis.record import Bools, Floats, Ints
from analysis.sun import sun_vectors
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

MOST_ROWS = 20_000
_BLOCKS = 4
# The sun below this sine: night, also for a clock that is an hour off; above that share of the
# day's highest: the hours around noon (engineering judgement).
_NIGHT_SINE, _NOON_SHARE = -0.15, 0.8
# What one day is worth: it may have been a dull one (engineering judgement).
_ONE_DAY = 0.55
_PER_HOUR = 1.0 / SECONDS_PER_HOUR


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Times:
    """The sampled rows and the sun over them.

    Attributes
    ----------
    rows : ndarray of int64, shape (m,); which rows of the log
    stamp_s : their stamps [s]
    step_s : usual step [s]
    day : number of the solar day of each
    hour : solar hour of the day, 12 when the sun is highest [h]
    sun : sine of the sun's height, negative at night
    night, noon : rows by night, rows around noon
    joined : shape (m - 1,); whether a row and the next are neighbours in time
    trust_frac : how much the course of so few days is worth against a full week
    """

    rows: Ints
    stamp_s: Ints
    step_s: float
    day: Ints
    hour: Floats
    sun: Floats
    night: Bools
    noon: Bools
    joined: Bools
    trust_frac: float


def times_of(
    stamp_s: Ints, *, latitude_deg: float, longitude_deg: float, shift_s: float = 0.0
) -> Times:
    """Choose the rows to look at, and put the sun over them.

    Parameters
    ----------
    stamp_s : ndarray of int64, shape (n,)
        Stamps in the order of the file [s].
    latitude_deg, longitude_deg : float
        The place, or one assumed [°].
    shift_s : float
        Added to the stamps to bring them to the sun of that place [s].

    Returns
    -------
    Times
        At most `MOST_ROWS` rows.
    """
    rows = _chosen(len(stamp_s))
    chosen = stamp_s[rows]
    gaps_s = np.diff(chosen)
    moving = gaps_s[gaps_s > 0]
    step_s = float(np.median(moving)) if moving.size else 60.0
    at_s = (chosen + shift_s).astype(np.int64)
    sun = sun_vectors(
        time_s=at_s, latitude_deg=latitude_deg, longitude_deg=longitude_deg, elevation_m=0.0
    ).up
    # Solar time by longitude alone; the equation of time, a quarter of an hour, does not matter.
    solar_s = at_s + longitude_deg / 360.0 * SECONDS_PER_DAY
    day = np.floor(solar_s / SECONDS_PER_DAY).astype(np.int64)
    numbers, place = np.unique(day, return_inverse=True)
    highest = np.full(numbers.size, -1.0)
    np.maximum.at(highest, place, sun)
    return Times(
        rows=rows,
        stamp_s=chosen,
        step_s=step_s,
        day=place.astype(np.int64),
        hour=np.asarray(solar_s % SECONDS_PER_DAY, dtype=np.float64) * _PER_HOUR,
        sun=sun,
        night=sun < _NIGHT_SINE,
        noon=sun > np.maximum(_NOON_SHARE * highest[place], 0.02),
        joined=(gaps_s > 0) & (gaps_s <= 3.0 * step_s),
        trust_frac=min(1.0, _ONE_DAY + (1.0 - _ONE_DAY) * (numbers.size - 1) / 7.0),
    )


def _chosen(count: int) -> Ints:
    if count <= MOST_ROWS:
        return np.arange(count, dtype=np.int64)
    each = MOST_ROWS // _BLOCKS
    begins = np.linspace(0, count - each, _BLOCKS).astype(np.int64)
    return np.unique((begins[:, None] + np.arange(each)[None, :]).ravel())
