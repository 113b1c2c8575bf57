"""What a column looks like: its levels, its day and night, its steps, without knowing what it is.

Everything is a share, a correlation or a level, so that a year at one minute and a week at one
hour are described alike.
"""

from dataclasses import dataclass, replace

import numpy as np

from analysis.meaning.motion import STILL, Motion
from analysis.meaning.times import Times
from analysis.record import Bools, Floats
from analysis.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

_FEWEST = 8
# In less time than this anything may only have risen.
_REGISTER_DAYS = 0.6
# Below this share of the high a value is nought: a sensor may tremble there.
_NOUGHT = 0.03
_RESET_SHARE, _MOST_RESETS = 0.05, 3
# A counter that is misread now and then falls in few of its steps (engineering judgement).
_GLITCHES = 0.05
# Well up: even a sensor of light in the shade of a ridge shows something.
_DAYLIGHT_SINE = 0.12


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How a column looks; NaN where the rows do not tell.

    Attributes
    ----------
    low, high, median : 1st, 99th and 50th percentile [unit of the values]
    lowest : the lowest [unit]
    night, midday : medians by night and around noon [unit]
    swing : usual difference of highest and lowest within a day [unit]
    scatter : standard deviation over the median [-]
    known : share of rows with a value
    distinct : number of different values, counted up to 50
    whole : share of whole numbers
    zero : share of zeros (values under 3 % of the high)
    dark_zero : the same, by night only
    on_by_day : share of the rows above zero at which the sun is up
    on_spread : quartile distance over median, of values above zero
    on_level : median of the values above zero [unit]
    register : 1 where it never falls but for resets, though it moves; 0 where it does
    rise_per_day : what a register gains in a day [unit]
    sun_like : correlation with the sun's height
    lag_h : by how much its hottest tenth comes after noon [h]
    rough : median step over the swing
    day_zero : share of zeros while the sun is well up
    at_top : share of the values above zero that equal the highest
    hour_rough : how little of an hour ago is left: one less the correlation of hourly means
    moves : what it does as the loop starts, runs and rests
    """

    low: float = np.nan
    high: float = np.nan
    median: float = np.nan
    lowest: float = np.nan
    night: float = np.nan
    midday: float = np.nan
    swing: float = np.nan
    scatter: float = np.nan
    known: float = np.nan
    distinct: float = np.nan
    whole: float = np.nan
    zero: float = np.nan
    dark_zero: float = np.nan
    on_by_day: float = np.nan
    on_spread: float = np.nan
    on_level: float = np.nan
    register: float = np.nan
    rise_per_day: float = np.nan
    sun_like: float = np.nan
    lag_h: float = np.nan
    rough: float = np.nan
    day_zero: float = np.nan
    at_top: float = np.nan
    hour_rough: float = np.nan
    moves: Motion = STILL


@dataclass(frozen=True, slots=True, kw_only=True)
class Moves:
    """How often a column rises, and whether it falls more often than any counter does."""

    rises: int
    falls: bool


_LEVELS = ("low", "high", "median", "lowest", "night", "midday")
_SPANS = ("swing", "rise_per_day", "on_level")


def counts_up(values: Floats) -> Moves:
    """Tell whether a column counts up, as far as its values go.

    Parameters
    ----------
    values : ndarray, shape (n,)
        In order of time [any unit]; NaN where missing.
    """
    there = values[np.isfinite(values)]
    steps = np.diff(there)
    resets = int(_resets(steps, there[1:]).sum())
    moved = int((steps != 0.0).sum())
    falling = int((steps < 0.0).sum()) - min(resets, 1)
    return Moves(rises=int((steps > 0.0).sum()), falls=falling > _GLITCHES * moved)


def look_at(values: Floats, times: Times) -> Look:
    """Describe a column.

    Parameters
    ----------
    values : ndarray, shape (m,)
        Values at the sampled rows [as written].
    times : Times
        The rows.

    Returns
    -------
    Look
        NaN everywhere where next to nothing is known.
    """
    known = np.isfinite(values)
    share = float(known.mean()) if known.size else 0.0
    if int(known.sum()) < _FEWEST:
        # However few values there are: one that falls is no counter.
        return Look(known=share, register=0.0 if counts_up(values).falls else np.nan)
    there = values[known]
    low, median, high = (float(one) for one in np.percentile(there, [1.0, 50.0, 99.0]))
    size = max(abs(high), abs(low), 1e-12)
    on = there > _NOUGHT * size
    dark = known & times.night
    noon = known & times.noon
    swing, full_days = _swing(values, known, times)
    neighbours = times.joined & known[1:] & known[:-1]
    steps = np.diff(values)[neighbours]
    register, rise = _register(there, steps, values[1:][neighbours], times)
    varied = high - low > 1e-9 * size
    return Look(
        low=low,
        high=high,
        median=median,
        lowest=float(there.min()),
        night=_median(values[dark]),
        midday=_median(values[noon]),
        swing=swing,
        scatter=float(there.std()) / max(abs(median), 1e-9),
        known=share,
        distinct=float(np.unique(there[:: max(there.size // 4000, 1)])[:50].size),
        whole=float(np.mean(there == np.round(there))),
        zero=float(np.mean(np.abs(there) <= _NOUGHT * size)),
        dark_zero=_mean(np.abs(values[dark]) <= _NOUGHT * size),
        on_by_day=_mean(times.sun[known][on] > 0.0) if varied else np.nan,
        on_spread=_spread(there[on]),
        on_level=_median(there[on]),
        register=register,
        rise_per_day=rise,
        sun_like=_alike(there, np.maximum(times.sun[known], 0.0)) if varied else np.nan,
        lag_h=_lag_h(values, known, times) if full_days and varied else np.nan,
        rough=float(np.median(np.abs(steps))) / max(high - low, 1e-9) if steps.size else np.nan,
        day_zero=_mean(np.abs(values[known & (times.sun > _DAYLIGHT_SINE)]) <= _NOUGHT * size),
        at_top=_mean(there[on] >= there.max() - 1e-9 * size),
        hour_rough=_hour_rough(values, known, times) if varied else np.nan,
    )


def rescaled(look: Look, *, factor: float, shift: float) -> Look:
    """Give the look of the same column in another unit: value * factor + shift."""
    levels = {name: getattr(look, name) * factor + shift for name in _LEVELS}
    dawn = replace(look.moves, before_dawn=look.moves.before_dawn * factor + shift)
    spans = {name: getattr(look, name) * factor for name in _SPANS}
    return replace(look, moves=dawn, **levels, **spans)


def _median(values: Floats) -> float:
    return float(np.median(values)) if values.size >= _FEWEST else np.nan


def _mean(flags: Bools) -> float:
    return float(np.mean(flags)) if flags.size >= _FEWEST else np.nan


def _spread(values: Floats) -> float:
    if values.size < _FEWEST:
        return np.nan
    quarter, half, three = np.percentile(values, [25.0, 50.0, 75.0])
    return float((three - quarter) / max(half, 1e-9))


def _alike(values: Floats, sun: Floats) -> float:
    if values.std() == 0.0 or sun.std() < 0.02:
        return np.nan
    return float(np.corrcoef(values, sun)[0, 1])


def _hour_rough(values: Floats, known: Bools, times: Times) -> float:
    hours = ((times.stamp_s - times.stamp_s.min()) // int(SECONDS_PER_HOUR)).astype(np.int64)
    size = np.bincount(hours[known], minlength=int(hours.max(initial=0)) + 1)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.bincount(hours[known], weights=values[known], minlength=size.size) / size
    one, two = mean[:-1], mean[1:]
    both = np.isfinite(one) & np.isfinite(two)
    if int(both.sum()) < 2 * _FEWEST or one[both].std() <= 0.0 or two[both].std() <= 0.0:
        return np.nan
    return 1.0 - float(np.corrcoef(one[both], two[both])[0, 1])


def _by_day(values: Floats, known: Bools, times: Times) -> tuple[Floats, Floats, Bools]:
    """Give each day's lowest and highest, and whether most of the day is there."""
    days = int(times.day.max(initial=-1)) + 1
    low, high = np.full(days, np.inf), np.full(days, -np.inf)
    np.minimum.at(low, times.day[known], values[known])
    np.maximum.at(high, times.day[known], values[known])
    rows = np.bincount(times.day[known], minlength=days)
    full = rows >= 0.6 * SECONDS_PER_DAY / times.step_s
    return low, high, np.asarray(full)


def _swing(values: Floats, known: Bools, times: Times) -> tuple[float, bool]:
    low, high, full = _by_day(values, known, times)
    if not full.any():
        return np.nan, False
    return float(np.median((high - low)[full])), True


def _lag_h(values: Floats, known: Bools, times: Times) -> float:
    """Give the mean hour of the hottest tenth of the rows, after noon."""
    low, high, full = _by_day(values, known, times)
    span = np.where(full & (high > low), high - low, np.nan)[times.day]
    with np.errstate(invalid="ignore"):
        hot = known & (values > low[times.day] + 0.9 * span)
    if int(hot.sum()) < 3:
        return np.nan
    angle = 2.0 * np.pi * (times.hour[hot] - 12.0) / 24.0
    mean = np.arctan2(np.sin(angle).mean(), np.cos(angle).mean())
    return float(mean * 24.0 / (2.0 * np.pi))


def _resets(steps: Floats, after: Floats) -> Bools:
    """Tell which steps are falls to next to nothing."""
    return np.asarray((steps < 0.0) & (after <= _RESET_SHARE * (after - steps)))


def _register(there: Floats, steps: Floats, after: Floats, times: Times) -> tuple[float, float]:
    resets = _resets(steps, after)
    if int(resets.sum()) > _MOST_RESETS:
        resets[:] = False
    moved = steps[(steps != 0.0) & ~resets]
    if moved.size < 3:
        return np.nan, np.nan
    falls = moved < 0.0
    if float(falls.mean()) > 0.002 or there.min() < 0.0:
        return 0.0, np.nan
    days = float(np.sum(times.joined)) * times.step_s / SECONDS_PER_DAY
    if days < _REGISTER_DAYS:
        return np.nan, np.nan
    return 1.0, float(moved[~falls].sum()) / days
