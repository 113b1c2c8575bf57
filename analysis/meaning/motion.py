"""What a column does when the loop starts, while it runs and while it rests.

The edges of the pump tell sensors apart that levels do not: the pipe from the roof jumps, the pipe
to the roof falls to the store, the store itself does not notice. Everything is a share of the
column's own span, so that units do not matter.
"""

from dataclasses import dataclass, fields

import numpy as np

from analysis.meaning.times import Times
from analysis.record import Bools, Floats, Ints
from analysis.units import SECONDS_PER_HOUR

# Rest before a start and running before a stop, and how soon after it the change is read [s].
_QUIET_S, _AFTER_S = 1200.0, 900.0
# The last hours of the night, when pipes have come to rest (engineering judgement) [h].
_BEFORE_DAWN_H = (1.0, 5.0)
_FEWEST, _FEWEST_EDGES = 6, 2
# Below the sun's sine of a few degrees even a sensor of light may show nothing.
_DAYLIGHT_SINE = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """How a column moves; NaN where the rows do not tell.

    Attributes
    ----------
    start, stop : median change over a start and a stop of the loop, over the span
    start_size : median size of the change over a start, over the span
    on_rise : mean change in an hour of running, over the span
    on_move, rest_move, night_move : mean size of the change in an hour while running, at rest by
        day, and by night, over the span
    before_dawn : median of the last hours of the night [unit of the values]
    dawns : spread of the days' levels before dawn, over the span
    on_like : correlation with the loop running
    on_sun : correlation with the sun's height while the loop runs
    rise_on : share of all rises that falls into hours in which the loop ran
    rate_spread : spread over mean of what it rises in hours of running
    """

    start: float = np.nan
    stop: float = np.nan
    start_size: float = np.nan
    on_rise: float = np.nan
    on_move: float = np.nan
    rest_move: float = np.nan
    night_move: float = np.nan
    before_dawn: float = np.nan
    dawns: float = np.nan
    on_like: float = np.nan
    on_sun: float = np.nan
    rise_on: float = np.nan
    rate_spread: float = np.nan


STILL = Motion()
MOTIONS = tuple(one.name for one in fields(Motion))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Phases:
    """The rows sorted by what the loop does.

    Attributes
    ----------
    starts, stops : pairs of rows before and after an edge, shape (2, edges)
    hour_from, hour_to : rows an hour apart, shape (k,)
    hour_on, hour_rest, hour_night : of these, where it ran all the time, rested by day, by night
    hour_share : share of the hour in which it ran, shape (k,)
    dawn : rows of the last hours of the night, shape (m,)
    on : when it runs, shape (m,); all False where that is not known
    """

    starts: Ints
    stops: Ints
    hour_from: Ints
    hour_to: Ints
    hour_on: Bools
    hour_rest: Bools
    hour_night: Bools
    hour_share: Floats
    dawn: Bools
    on: Bools
    known: bool


def phases_of(times: Times, on: Bools | None) -> Phases:
    """Sort the rows by what the loop does.

    Parameters
    ----------
    times : Times
        The rows.
    on : ndarray of bool, shape (m,), or None
        When the loop runs, None where no column tells.

    Returns
    -------
    Phases
        Without edges where `on` is None.
    """
    count = times.stamp_s.size
    runs = np.zeros(count, dtype=np.bool_) if on is None else on
    hour = max(1, round(SECONDS_PER_HOUR / times.step_s))
    first = np.arange(max(count - hour, 0), dtype=np.int64)
    gaps_s = times.stamp_s[first + hour] - times.stamp_s[first]
    first = first[(gaps_s > 0) & (gaps_s <= 1.5 * hour * times.step_s)]
    last = first + hour
    total = np.concatenate([[0], np.cumsum(runs)])
    share = (total[last + 1] - total[first + 1]) / hour
    night = times.night[first] & times.night[last]
    low, high = _BEFORE_DAWN_H
    return Phases(
        starts=_edges(runs, times),
        stops=_edges(~runs, times) if on is not None else np.zeros((2, 0), dtype=np.int64),
        hour_from=first,
        hour_to=last,
        hour_on=(share == 1.0) & runs[first],
        hour_rest=(share == 0.0) & ~runs[first] & ~night,
        hour_night=night & (share == 0.0),
        hour_share=share,
        dawn=times.night & (times.hour >= low) & (times.hour <= high),
        on=runs,
        known=on is not None,
    )


def _edges(state: Bools, times: Times) -> Ints:
    """Give the rows before and after the instants from which a state holds for a while."""
    quiet = max(1, round(_QUIET_S / times.step_s))
    after = max(1, round(_AFTER_S / times.step_s))
    total = np.concatenate([[0], np.cumsum(state)])
    broken = np.concatenate([[0, 0], np.cumsum(~times.joined)])
    rows = np.arange(quiet, max(state.size - after, quiet), dtype=np.int64)
    rows = rows[state[rows] & ~state[rows - 1]]
    before = total[rows] - total[rows - quiet] == 0
    # The run after the edge must last; a pump that pauses at once starts nothing.
    held = total[rows + after] - total[rows] >= after - (after > 1)
    whole = broken[rows + after + 1] == broken[rows - quiet + 1]
    rows = rows[before & held & whole]
    return np.array([rows - 1, rows + after], dtype=np.int64)


def motion_of(values: Floats, phases: Phases, times: Times, *, span: float) -> Motion:
    """Describe how a column moves.

    Parameters
    ----------
    values : ndarray, shape (m,)
        Values at the sampled rows [as written].
    phases : Phases
        What the loop does.
    times : Times
        The rows.
    span : float
        High less low of the column [as written].

    Returns
    -------
    Motion
        NaN where rows do not tell.
    """
    if not span > 0.0:
        return Motion()
    change = (values[phases.hour_to] - values[phases.hour_from]) / span
    size = np.abs(change)
    start = (values[phases.starts[1]] - values[phases.starts[0]]) / span
    stop = (values[phases.stops[1]] - values[phases.stops[0]]) / span
    dawn = phases.dawn & np.isfinite(values)
    by_day = [values[dawn & (times.day == day)] for day in np.unique(times.day[dawn])]
    levels = np.array([np.median(one) for one in by_day if one.size >= 2])
    rises = np.maximum(np.nan_to_num(change), 0.0)
    full = change[phases.hour_on]
    full = full[np.isfinite(full)]
    on = phases.on
    return Motion(
        start=_median(start, _FEWEST_EDGES),
        stop=_median(stop, _FEWEST_EDGES),
        start_size=_median(np.abs(start), _FEWEST_EDGES),
        on_rise=_mean(change[phases.hour_on]),
        on_move=_mean(size[phases.hour_on]),
        rest_move=_mean(size[phases.hour_rest]),
        night_move=_mean(size[phases.hour_night]),
        before_dawn=_median(values[dawn], _FEWEST),
        dawns=float(levels.std()) / span if levels.size >= 3 else np.nan,
        on_like=_alike(values, on.astype(np.float64)) if phases.known else np.nan,
        on_sun=_alike(values[on], times.sun[on]),
        rise_on=(
            float(rises[phases.hour_share > 0.0].sum() / max(rises.sum(), 1e-12))
            if phases.known and rises.sum() > 0.0
            else np.nan
        ),
        rate_spread=(
            float(full.std() / max(abs(full.mean()), 1e-9)) if full.size >= _FEWEST else np.nan
        ),
    )


def _median(values: Floats, fewest: int) -> float:
    there = values[np.isfinite(values)]
    return float(np.median(there)) if there.size >= fewest else np.nan


def _mean(values: Floats) -> float:
    there = values[np.isfinite(values)]
    return float(there.mean()) if there.size >= _FEWEST else np.nan


def _alike(values: Floats, other: Floats) -> float:
    known = np.isfinite(values)
    if int(known.sum()) < _FEWEST:
        return np.nan
    one, two = values[known], other[known]
    if one.std() <= 1e-12 * max(1.0, abs(float(one.mean()))) or two.std() == 0.0:
        return np.nan
    return float(np.corrcoef(one, two)[0, 1])
