"""Stage two of the pair's offset: learnt from nights at rest, taken out of the heat, never guessed.

In a night in which nothing moved for hours and the store's bottom was colder than the pipes, both
pipes are as warm as the room, and what their sensors read apart is mostly their own error. Two
things keep the pipes themselves apart, both with the hot one warmer: it sits higher, and what is
warm in the store creeps into it. So the lower part of the nights counts rather than their middle,
a usual amount is taken off, and what is not known of it stays in the bounds.

The prior is the class that the site file states; what the nights say is weighed against it, each by
its variance (Gauss-Markov; JCGM 100:2008, 5.1.2), so that good sensors are hardly touched. A pair
that differs by more than its class may is not corrected: that is a fault, or a valve that leaks.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace
from heapq import heappop, heappush, heappushpop
from itertools import pairwise

import numpy as np

from analysis.basis import PairOffset
from analysis.condition.steady import SPREAD_RATES
from analysis.days import DayTable
from analysis.quantiles import median_of, quantile_of
from analysis.record import Bools, Floats, Ints, known_or_zero
from analysis.site import Sensors, Site
from analysis.sitefile import facts_of_days
from analysis.sources import GUM, IEC_60751
from analysis.uncertainty import (
    COVERAGE_95,
    growth_from,
    temperature_limit_k,
    temperature_standard_uncertainty_k,
)

SOURCES = (GUM, IEC_60751)

# All of these are engineering judgement.
COLDER_K = 2.0  # the store's bottom below the pipes: nothing warm at the coil, nothing that rises
LEAST_H = 0.5
STEADY_K_H = 0.1  # pipes that still part faster are not at rest
ROOM_C = (0.0, 40.0)
LEAST_NIGHTS = 10
QUANTILE = 0.25  # warmth only adds to what the pipes differ
SCATTER_K = 0.3  # offsets are constant: pipes that differ now so, now so are not standing still
# What the hot pipe is warmer than the cold one in such nights: its air is half a metre higher, and
# something creeps from the store. Anywhere between nothing and 0.4 K: a rectangle.
PLACE_K, PLACE_U_K = 0.2, 0.4 / float(np.sqrt(12.0))
GRAIN_U_K = 0.03  # readings in tenths, through changing room temperatures
REACH_DAYS = 183  # farther from a night that counts nothing is corrected
# A sensor that was changed shows as a step between nights.
STEP_K, STEP_SIGMAS, STEP_NIGHTS = 0.25, 6.0, 5
# A valve that leaks now and then spoils the nights around those in which it showed.
BACKFLOW_DAYS = 15
BACKFLOW_H = 1.5

_READ = frozenset({"loop_hot", "loop_cold", "store_bottom", "flow", "pump"})

_CHANGED = frozenset({"sensors.temperature_class", "sensors.strapped_on"})

OFFSET_LEARNT = "_offset_learnt"
"""Ends the word for what heat rests on where the offset was learnt."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell:
    """Days over which the pair kept one offset; `first` to `last` (excluded) rows of the table.

    Attributes
    ----------
    nights : how many nights at rest it is learnt from
    rest_c : how warm the pipes were in them [°C]
    offset_k, u_k : what hot reads over cold at that temperature, and its standard uncertainty [K]
    corrected : false where that is more than sensors of the class may differ
    """

    first: int
    last: int
    nights: int
    rest_c: float
    offset_k: float
    u_k: float
    corrected: bool


def learn_offsets(table: DayTable, site: Site) -> tuple[Spell, ...]:
    """Give the spells in which the pair's offset is known, in order of time; () where none is.

    Parameters
    ----------
    table : every observed day
    site : the site as its file states it; a change of its pipe sensors begins a new spell
    """
    nights = np.flatnonzero(_good_nights(table))
    if nights.size < LEAST_NIGHTS:
        return ()
    found = []
    for part, first, last in _between_changes(table, site, nights):
        pieces = _without_steps(part, table.column("rest_spread_k"))
        facts = facts_of_days(site, [table.days.dates[first]])[0]
        for number, piece in enumerate(pieces):
            # Between two spells nobody knows on which day the one became the other.
            begins = int(piece[0]) if number else max(first, int(piece[0]) - REACH_DAYS)
            ends = int(piece[-1]) + 1
            if number + 1 == len(pieces):
                ends = min(last, ends + REACH_DAYS)
            spell = _spell(table, piece, first=begins, last=ends, sensors=facts.sensors)
            if spell is not None:
                found.append(spell)
    return tuple(found)


def _good_nights(table: DayTable) -> Bools:
    """Tell days in whose dark hours both pipes were at rest beside a cold store."""
    pipe, spread = table.column("rest_pipe_c"), table.column("rest_spread_k")
    good = (table.column("rest_h") >= LEAST_H) & np.isfinite(spread)
    good &= np.abs(table.column("rest_change_k_h")) <= STEADY_K_H
    good &= table.column("rest_store_k") <= -COLDER_K
    good &= (pipe > ROOM_C[0]) & (pipe < ROOM_C[1])
    misread = {item.date for item in table.of_kind("sensor_fault") if item.channel in _READ}
    good &= ~table.days.among(misread)
    back = known_or_zero(table.column("night_fed_h")) >= BACKFLOW_H
    for day in np.flatnonzero(back).tolist():
        good[max(day - BACKFLOW_DAYS, 0) : day + BACKFLOW_DAYS + 1] = False
    return good


def _between_changes(table: DayTable, site: Site, nights: Ints) -> list[tuple[Ints, int, int]]:
    """Part nights where the site file says that pipe sensors were changed.

    Give the nights of each part, and its first day and the one after its last.
    """
    dates = {item.date.isoformat() for item in site.changes if item.key in _CHANGED}
    cuts = sorted({bisect_left(table.days.dates, day) for day in dates})
    edges = [0, *(cut for cut in cuts if 0 < cut < len(table.days)), len(table.days)]
    parts = np.split(nights, np.searchsorted(nights, edges[1:-1]))
    return [(part, *span) for part, span in zip(parts, pairwise(edges), strict=True) if part.size]


def _without_steps(nights: Ints, spread: Floats) -> list[Ints]:
    """Part nights at steps that stand out of the scatter on both sides."""
    values = spread[nights]
    cuts = range(STEP_NIGHTS, nights.size - STEP_NIGHTS + 1)
    if not cuts:
        return [nights]
    # The likeliest place is where both sides lie closest to their own medians.
    before, after = _spreads_about(values), _spreads_about(values[::-1])[::-1]
    cut = cuts[int(np.argmin(before[cuts.start : cuts.stop] + after[cuts.start : cuts.stop]))]
    one, other = values[:cut], values[cut:]
    step = abs(median_of(one) - median_of(other))
    doubt = np.hypot(_median_u(one), _median_u(other))
    if step < max(STEP_K, STEP_SIGMAS * float(doubt)):
        return [nights]
    return [*_without_steps(nights[:cut], spread), *_without_steps(nights[cut:], spread)]


def _spreads_about(values: Floats) -> Floats:
    """Give how far the first values lie from their own median, summed; shape (n + 1,).

    The lower half of them and the upper half are kept in a heap each, so that one value more moves
    one value at most.
    """
    lower: list[float] = []
    upper: list[float] = []
    below = above = 0.0
    found = [0.0]
    for value in values.tolist():
        moved = heappushpop(upper, value)
        above, below = above + value - moved, below + moved
        heappush(lower, -moved)
        if len(lower) > len(upper) + 1:
            moved = -heappop(lower)
            heappush(upper, moved)
            above, below = above + moved, below - moved
        middle = -lower[0] if len(lower) > len(upper) else 0.0
        found.append(above - below + middle)
    return np.array(found)


def _median_u(values: Floats) -> float:
    return max(_scatter(values), GRAIN_U_K) / float(np.sqrt(values.size))


def _scatter(values: Floats) -> float:
    """Give the standard deviation that the middle half of the values has, as of a normal."""
    return (quantile_of(values, 0.75) - quantile_of(values, 0.25)) / 1.349


def _spell(
    table: DayTable, nights: Ints, *, first: int, last: int, sensors: Sensors
) -> Spell | None:
    if nights.size < LEAST_NIGHTS:
        return None
    spread = table.column("rest_spread_k")[nights]
    scatter = _scatter(spread)
    if scatter > SCATTER_K:
        return None
    rest_c = median_of(table.column("rest_pipe_c")[nights])
    seen = quantile_of(spread, QUANTILE) - PLACE_K
    limit = 2.0 * float(
        temperature_limit_k(temperature_class=sensors.temperature_class, t_c=rest_c)
    )
    # The quantile of so many nights, those of a week counted once: they share their weather.
    weeks = np.unique(nights // 7).size
    quantile_u = scatter * 1.36 / np.sqrt(weeks)
    seen_u = float(np.sqrt(quantile_u**2 + PLACE_U_K**2 + GRAIN_U_K**2))
    beyond = abs(seen) > limit + COVERAGE_95 * seen_u
    alone_u = np.sqrt(2.0) * float(
        temperature_standard_uncertainty_k(temperature_class=sensors.temperature_class, t_c=rest_c)
    )
    trust = alone_u**2 / (alone_u**2 + seen_u**2)
    return Spell(
        first=first,
        last=last,
        nights=int(nights.size),
        rest_c=rest_c,
        offset_k=seen if beyond else float(trust) * seen,
        u_k=seen_u if beyond else float(np.sqrt(trust)) * seen_u,
        corrected=not beyond,
    )


TAKEN = "taken_k"
"""Name of the column with the offset that was taken out of a day's heat [K]."""


def corrected(table: DayTable, spells: Sequence[Spell], site: Site) -> DayTable:
    """Take the learnt offsets out of the heat and shrink its parts of uncertainty.

    What is left of the offset itself is the part `pair`, the same on all days; `hot` and `cold`
    keep what each sensor's error may grow by between the room and the loop at work. `TAKEN` says
    what was taken out on each day, for happenings that hold heat.
    """
    known = [spell for spell in spells if spell.corrected]
    if not known or "heat_per_k_kwh" not in table.columns:
        return table
    count = len(table.days)
    inside = np.zeros(count, dtype=np.bool_)
    offset_k, pair_u_k, hot_u_k, cold_u_k = (np.zeros(count) for _ in range(4))
    hot_c, cold_c = table.column("heat_hot_c"), table.column("heat_cold_c")
    for spell in known:
        days = slice(spell.first, spell.last)
        facts = facts_of_days(site, [table.days.dates[spell.first]])[0]
        grown = growth_from(
            temperature_class=facts.sensors.temperature_class,
            from_c=spell.rest_c,
            to_c=(hot_c[days] + cold_c[days]) / 2.0,
        )
        inside[days] = True
        offset_k[days] = spell.offset_k * grown.factor
        pair_u_k[days] = spell.u_k * grown.factor
        hot_u_k[days] = grown.u_k_per_k * np.abs(hot_c[days] - spell.rest_c)
        cold_u_k[days] = grown.u_k_per_k * np.abs(cold_c[days] - spell.rest_c)
    # A day without movement has no temperature at work, and nothing to correct.
    moved = inside & np.isfinite(offset_k)
    per_k = table.column("heat_per_k_kwh")
    columns = dict(table.columns)
    for part, u_k in (("hot", hot_u_k), ("cold", cold_u_k), ("pair", pair_u_k)):
        name = f"heat_{part}_u_kwh"
        before = columns.get(name, np.where(np.isfinite(per_k), 0.0, np.nan))
        columns[name] = np.where(moved, u_k * np.abs(per_k), before)
    rates = {"heat_kwh": per_k}
    rates |= {name: table.column(rate) for name, rate in SPREAD_RATES.items()}
    for name, rate in rates.items():
        if name in columns:
            less = np.where(moved, offset_k * known_or_zero(rate), 0.0)
            columns[name] = columns[name] - less
    columns[TAKEN] = np.where(moved, offset_k, 0.0)
    return replace(table, columns=columns)


def pair_offsets(table: DayTable, spells: Sequence[Spell]) -> tuple[PairOffset, ...]:
    """Give the spells as the report states them."""
    dates = table.days.dates
    return tuple(
        PairOffset(
            first_date=dates[spell.first],
            last_date=dates[spell.last - 1],
            nights=spell.nights,
            offset_k=spell.offset_k,
            offset_low_k=spell.offset_k - COVERAGE_95 * spell.u_k,
            offset_high_k=spell.offset_k + COVERAGE_95 * spell.u_k,
            corrected=spell.corrected,
        )
        for spell in spells
    )
