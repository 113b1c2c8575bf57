"""The first and the last light of a day stand as far from the sun's noon on either side."""

import math

import numpy as np

from analysis.record import Bools, Floats, Ints
from analysis.sun import SunVectors
from analysis.units import SECONDS_PER_DAY

# Light in which the sky counts more than the sun itself, so that the plane matters little [W/m2].
_FIRST_LIGHT_W_M2 = 15.0


def light_ends(time_s: Ints, light_w_m2: Floats, *, step_s: float) -> tuple[Floats, Floats]:
    """Give the first and the last light of each day that shows both, with dark beside them.

    Parameters
    ----------
    time_s : shape (n,), rising instants [s]
    light_w_m2 : shape (n,), of a sensor in any plane; no NaN [W/m2]
    step_s : usual step between instants [s]

    Returns
    -------
    tuple of ndarray
        Halfway between the two rows of each end, shape (days that show both,) [s].
    """
    bright: Bools = light_w_m2 > _FIRST_LIGHT_W_M2
    if not bright.any() or bright.all():
        return np.zeros(0), np.zeros(0)
    change = np.flatnonzero(bright[1:] != bright[:-1]) + 1
    begins = np.concatenate([[0], change])[0 if bright[0] else 1 :: 2]
    ends = np.concatenate([change, [len(bright)]])[1 - int(bright[0]) :: 2] - 1
    # Days run from the middle of one dark to the next, whatever the clock says.
    dark_s = SECONDS_PER_DAY * (_bright_noon(time_s[begins], time_s[ends], ends - begins + 1) - 0.5)
    since, until = ((one - dark_s) // SECONDS_PER_DAY for one in (time_s[0], time_s[-1]))
    edge_s = np.ceil(dark_s + SECONDS_PER_DAY * np.arange(since, until + 2.0)).astype(np.int64)
    edge = np.searchsorted(time_s, edge_s)
    first, last = _outermost(begins, ends, edge)
    good = (last > first) & (first > 0) & (last < len(time_s) - 1)
    first, last = first[good], last[good]
    near = (time_s[first] - time_s[first - 1] <= 2.0 * step_s) & (
        time_s[last + 1] - time_s[last] <= 2.0 * step_s
    )
    first, last = first[near], last[near]
    return (
        0.5 * (time_s[first] + time_s[first - 1]).astype(np.float64),
        0.5 * (time_s[last] + time_s[last + 1]).astype(np.float64),
    )


def _bright_noon(first_s: Ints, last_s: Ints, rows: Ints) -> float:
    """Give the middle of bright spells on the circle of a day, each by its rows; share of a day."""
    turn = 2.0 * math.pi / SECONDS_PER_DAY
    middle = 0.5 * turn * (first_s + last_s)
    # The mean direction over an arc lies at its middle, and is the shorter the wider it is.
    length = rows * np.sinc(0.5 * turn * (last_s - first_s) / math.pi)
    return math.atan2((length * np.sin(middle)).sum(), (length * np.cos(middle)).sum()) / (
        2.0 * math.pi
    )


def _outermost(begins: Ints, ends: Ints, edge: Ints) -> tuple[Ints, Ints]:
    """Give the first and the last bright row of each day that has any.

    Parameters
    ----------
    begins, ends : shape (spells,), the first and the last row of each bright spell
    edge : shape (days + 1,), the first row of each day and the one after the last's
    """
    after, before = edge[:-1], edge[1:] - 1
    # The first spell that is not over before the day, and the last that has begun by its end.
    early = np.searchsorted(ends, after)
    late = np.searchsorted(begins, before, side="right") - 1
    some = early <= late
    early, late, after, before = (one[some] for one in (early, late, after, before))
    return np.maximum(begins[early], after), np.minimum(ends[late], before)


def after_noon_s(sun: SunVectors, latitude_deg: float) -> Floats:
    """Give how long after its noon the sun stands so [s], half a day at most either way."""
    latitude = math.radians(latitude_deg)
    along = sun.up * math.cos(latitude) - sun.north * math.sin(latitude)
    return np.asarray(np.arctan2(-sun.east, along) / (2.0 * math.pi) * SECONDS_PER_DAY)
