"""How columns stand to each other: the roof is hotter than the pipe, the top than the bottom.

A table of relations between two channels, each a share of rows that should hold, and the numbers
for them, computed once for all pairs. Odds in natural logarithms, fitted to drawn
plants beside the weights of `tests.bench.meaning_fit`, then kept by hand; no source.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.meaning.times import Times
from analysis.record import Bools, Floats

_FEWEST = 12
_MOST_ROWS = 6000


@dataclass(frozen=True, slots=True, kw_only=True)
class Relation:
    """What should hold between a column of channel `one` and a column of channel `other`.

    Attributes
    ----------
    when : name of the array in `Pairs` that holds the shares
    holds, fails : share from which on it speaks for, and up to which it speaks against
    inside, outside : how much [nats]
    says : of `one`, with the other's channel as {other}
    """

    one: str
    other: str
    when: str
    holds: float
    fails: float
    inside: float
    outside: float
    says: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pairs:
    """Shares for all pairs of columns, shape (columns, columns); NaN where rows do not tell.

    Attributes
    ----------
    warmer : of all rows, the share in which the row's column is above the other
    warmer_on : the same while the loop runs
    warmer_night, warmer_noon : the same by night, around noon
    peak : share of days on which its highest value is above the other's
    trust_frac : how much all of this counts, see `Times.trust_frac`
    together : of the rows in which one of both is above zero, the share in which both are
    """

    warmer: Floats
    warmer_on: Floats
    warmer_night: Floats
    warmer_noon: Floats
    peak: Floats
    together: Floats
    trust_frac: float


def _rel(one: str, other: str, when: str, span: tuple[float, float], nats: tuple[float, float],
         says: str = "") -> Relation:  # fmt: skip
    return Relation(
        one=one,
        other=other,
        when=when,
        holds=span[0],
        fails=span[1],
        inside=nats[0],
        outside=nats[1],
        says=says,
    )


_ON = "is warmer than the {other} while the loop runs"
_PEAK = "gets hotter than the {other}"

RELATIONS: tuple[Relation, ...] = (
    _rel("loop_hot", "loop_cold", "warmer_on", (0.85, 0.4), (0.4, -3.0), _ON),
    _rel("loop_hot", "loop_cold", "warmer_noon", (0.7, 0.35), (0.4, -0.5)),
    _rel("loop_hot", "store_bottom", "warmer_on", (0.9, 0.5), (0.9, -2.4), _ON),
    _rel("loop_cold", "store_bottom", "warmer_on", (0.6, 0.1), (0.0, 0.0)),
    _rel("collector", "loop_hot", "peak", (0.8, 0.4), (0.7, 0.0), _PEAK),
    _rel("collector", "loop_cold", "peak", (0.9, 0.5), (1.0, -1.3), _PEAK),
    _rel("collector", "store_bottom", "peak", (0.7, 0.2), (0.5, 0.0)),
    _rel("collector", "store_top", "peak", (0.5, 0.1), (1.1, -0.4)),
    _rel("collector", "ambient", "peak", (0.95, 0.5), (0.4, -2.5), _PEAK),
    _rel("collector", "exchanger_hot", "peak", (0.8, 0.4), (0.3, -0.8)),
    _rel("loop_hot", "collector", "warmer_night", (0.8, 0.3), (1.0, 0.0),
         "is warmer than the {other} at night, as a pipe indoors is"),
    _rel("loop_cold", "collector", "warmer_night", (0.8, 0.3), (0.7, -0.1)),
    _rel("store_bottom", "collector", "warmer_night", (0.8, 0.2), (1.3, -0.3),
         "stays warmer than the {other} at night"),
    _rel("store_top", "store_bottom", "warmer", (0.9, 0.5), (1.0, -3.0),
         "is nearly always warmer than the {other}"),
    _rel("store_top", "store_middle", "warmer", (0.85, 0.4), (0.3, -2.5),
         "is nearly always warmer than the {other}"),
    _rel("store_middle", "store_bottom", "warmer", (0.85, 0.4), (0.3, -2.5),
         "is nearly always warmer than the {other}"),
    _rel("store_bottom", "ambient", "warmer", (0.8, 0.3), (0.6, -1.1)),
    _rel("store_top", "ambient", "warmer", (0.95, 0.6), (0.0, 0.0)),
    _rel("loop_hot", "ambient", "peak", (0.9, 0.4), (0.1, -0.6)),
    _rel("loop_cold", "ambient", "peak", (0.8, 0.3), (0.0, -0.8)),
    _rel("store_bottom", "cold_feed", "warmer", (0.8, 0.4), (0.0, -2.1),
         "is warmer than the {other}"),
    _rel("hot_tap", "cold_feed", "warmer", (0.9, 0.5), (0.3, -1.1)),
    _rel("store_top", "hot_tap", "warmer", (0.7, 0.2), (0.0, -0.3)),
    _rel("exchanger_hot", "exchanger_cold", "warmer_on", (0.85, 0.4), (1.2, -2.5), _ON),
    _rel("loop_hot", "exchanger_hot", "warmer_on", (0.85, 0.4), (0.8, -1.5), _ON),
    _rel("loop_cold", "exchanger_cold", "warmer_on", (0.7, 0.3), (0.3, -0.8)),
    _rel("pump", "flow", "together", (0.85, 0.5), (1.0, -2.3), "is on when the {other} is"),
    _rel("pump", "heat_power", "together", (0.8, 0.4), (0.3, -0.7), "is on when the {other} is"),
    _rel("flow", "heat_power", "together", (0.8, 0.4), (1.1, -0.7), "is there when the {other} is"),
    _rel("pump", "secondary_pump", "together", (0.6, 0.2), (0.3, -0.8)),
)  # fmt: skip

_BY_PAIR: dict[tuple[str, str], tuple[Relation, ...]] = {}
for _relation in RELATIONS:
    _key = (_relation.one, _relation.other)
    _BY_PAIR[_key] = (*_BY_PAIR.get(_key, ()), _relation)


def relations(one: str, other: str) -> tuple[Relation, ...]:
    """Give the relations between two channels, in this order."""
    return _BY_PAIR.get((one, other), ())


def relation_nats(relation: Relation, pairs: Pairs) -> Floats:
    """Say how much a relation speaks for all pairs of columns, shape (columns, columns) [nats]."""
    share: Floats = getattr(pairs, relation.when)
    reach = np.clip((share - relation.fails) / (relation.holds - relation.fails), 0.0, 1.0)
    nats = relation.outside + reach * (relation.inside - relation.outside)
    return np.asarray(np.where(np.isnan(share), 0.0, pairs.trust_frac * nats))


def pairs_of(values: Floats, written: Floats, times: Times, on: Bools | None) -> Pairs:
    """Compare all columns with each other.

    Parameters
    ----------
    values : ndarray, shape (columns, m)
        Values at the sampled rows, as if all were temperatures, in one unit [°C].
    written : ndarray, shape (columns, m)
        The same as written: only there is nothing zero [as written].
    times : Times
        The rows.
    on : ndarray of bool, shape (m,), or None
        When the loop runs, as the likeliest pump or flow says.

    Returns
    -------
    Pairs
        Shares.
    """
    stride = max(values.shape[1] // _MOST_ROWS, 1)
    thin = values[:, ::stride]
    everything = np.ones(thin.shape[1], dtype=np.bool_)
    nothing = np.zeros(thin.shape[1], dtype=np.bool_)
    return Pairs(
        warmer=_warmer(thin, everything),
        warmer_on=_warmer(thin, nothing if on is None else on[::stride]),
        warmer_night=_warmer(thin, times.night[::stride]),
        warmer_noon=_warmer(thin, times.noon[::stride]),
        peak=_peak(values, times),
        together=_together(written[:, ::stride]),
        trust_frac=times.trust_frac,
    )


def _warmer(values: Floats, rows: Bools) -> Floats:
    some = values[:, rows]
    count = len(values)
    share = np.full((count, count), np.nan)
    for one in range(count):
        difference = some[one][None, :] - some
        known = np.isfinite(difference)
        total = known.sum(axis=1)
        above = np.sum(difference > 0.0, axis=1) + 0.5 * np.sum(difference == 0.0, axis=1)
        with np.errstate(invalid="ignore", divide="ignore"):
            share[one] = np.where(total >= _FEWEST, above / total, np.nan)
    return share


def _peak(values: Floats, times: Times) -> Floats:
    days = int(times.day.max(initial=-1)) + 1
    high = np.full((len(values), days), -np.inf)
    for row, column in zip(high, values, strict=True):
        known = np.isfinite(column)
        np.maximum.at(row, times.day[known], column[known])
    sunny = np.zeros(days, dtype=np.bool_)
    sunny[times.day[times.noon]] = True
    high = high[:, sunny]
    known = np.isfinite(high[:, None, :]) & np.isfinite(high[None, :, :])
    total = known.sum(axis=2)
    above = (known & (high[:, None, :] > high[None, :, :])).sum(axis=2)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(total >= 1, above / total, np.nan)


def _together(values: Floats) -> Floats:
    with np.errstate(invalid="ignore"):
        size = np.nanmax(np.abs(np.nan_to_num(values)), axis=1, keepdims=True)
        on = np.nan_to_num(values) > 0.02 * size
    count = len(on)
    share: NDArray[np.float64] = np.full((count, count), np.nan)
    for one in range(count):
        both = np.sum(on[one] & on, axis=1)
        either = np.sum(on[one] | on, axis=1)
        with np.errstate(invalid="ignore", divide="ignore"):
            share[one] = np.where(either >= _FEWEST, both / either, np.nan)
    return share
