"""What shows that two temperature channels have changed places, and what shows that they have not.

Each pair of channels has one rule of physics that no healthy plant breaks for long; a day speaks
for a swap, against it, or says nothing. Thresholds are engineering judgement, in kelvins well above
what sensors of class B and their places make.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.case import Case
from analysis.compiled import given
from analysis.day_sums import counted
from analysis.faults._air_kernel import air_or_loop
from analysis.grid import BIN_S, DAY_BINS
from analysis.record import Bools, Floats, known_or_zero
from analysis.units import SECONDS_PER_HOUR

Hours = tuple[Floats, Floats]

_NIGHT_SINE = -0.105  # civil twilight is over
_SUN_SINE = 0.2
_HOURS = SECONDS_PER_HOUR / BIN_S
# A sensor that hardly moved within a day is stuck, or nothing happened.
_LEAST_RANGE_K = 2.0
# Where the controller is misled as well a store may rest cold for days, and still not be stuck.
_LEAST_ALIVE_K = 0.2
_ROOF_RANGE_K = 15.0
# No store boils, swings by so much within a day and leaves the roof so far behind.
_BOILS_C, _SWING_K, _BEHIND_K = 100.0, 60.0, 30.0
# Of a day's five-minute means so many must be known to speak of its extremes.
_KNOWN_FRAC = 0.5
# What speaks for a thing must outweigh what speaks against it.
_OUTWEIGH = 5.0
# Bins after a start in which what stood in the pipes comes by.
_SETTLE_BINS = 4
# The hour before sunrise tells where a morning begins.
_DAWN_SINE = (-0.2, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Two channels and how their days speak.

    `hours` gives for each day the hours that speak for a swap and those that speak against it;
    `least_h` of the one, and several times the other, decide; `why` says what shows it.
    """

    one: str
    other: str
    hours: Callable[["_Seen", str, str], Hours]
    least_h: float
    why: str
    least_range_k: float = _LEAST_RANGE_K


@dataclass(frozen=True, kw_only=True, eq=False)
class _Seen:
    """A case with what several pairs ask of it, worked out once."""

    case: Case

    @cached_property
    def sunny(self) -> Bools:
        """Bins with a sun high enough to warm a collector."""
        return np.asarray(self.case.sky.sun_sine > _SUN_SINE)

    @cached_property
    def dark(self) -> Bools:
        """Bins of the night."""
        return np.asarray(self.case.sky.sun_sine < _NIGHT_SINE)

    @cached_property
    def running(self) -> Bools:
        """Bins in which the pump ran."""
        if "pump" in self.case.channels:
            return np.asarray(self.case.binned("pump") > 20.0)
        return np.asarray(self.case.loop.moving_frac > 0.5)

    @cached_property
    def settled(self) -> Bools:
        """Bins in which the loop has run for a while."""
        settled = self.running.copy()
        for back in range(1, _SETTLE_BINS):
            settled[:, back:] &= self.running[:, :-back]
            settled[:, :back] = False
        return settled

    @cached_property
    def sunlit(self) -> Bools:
        """Bins of sun in which the loop has run for a while."""
        return self.settled & self.sunny

    @cached_property
    def resting(self) -> Bools:
        """Bins of the night in which the pump does not run."""
        return self.dark & ~self.running

    @cached_property
    def before_noon(self) -> Bools:
        """Bins up to that in which the sun stands highest."""
        sine = self.case.sky.sun_sine
        return np.asarray(np.arange(sine.shape[1]) <= np.argmax(sine, axis=1)[:, None])

    @cached_property
    def waiting(self) -> Bools:
        """Bins of the morning sun before anything moved."""
        moved = np.maximum.accumulate(self.running | (self.case.loop.moving_frac > 0.0), axis=1)
        up = (self.case.sky.sun_sine > 0.0) & self.before_noon
        return np.asarray(up & ~moved & (self.case.loop.known_s > 0.0))

    @cached_property
    def _extremes(self) -> dict[str, tuple[Floats, Floats]]:
        return {}

    def extremes(self, name: str) -> tuple[Floats, Floats]:
        """Give the highest and the lowest of a channel on each day, NaN where it is not known."""
        if name not in self._extremes:
            values = self.case.binned(name)
            self._extremes[name] = (np.fmax.reduce(values, axis=1), np.fmin.reduce(values, axis=1))
        return self._extremes[name]

    @cached_property
    def _ranges_k(self) -> dict[str, Floats]:
        return {}

    def range_k(self, name: str) -> Floats:
        """Give how far apart they lie, 0 where nothing is known."""
        if name not in self._ranges_k:
            high, low = self.extremes(name)
            self._ranges_k[name] = known_or_zero(high - low)
        return self._ranges_k[name]

    @cached_property
    def _morning_rises_k(self) -> dict[str, Floats]:
        return {}

    def morning_rise_k(self, name: str) -> Floats:
        """Give how far a channel lies over its mean in the hour before sunrise, bin by bin."""
        if name not in self._morning_rises_k:
            sine, values = self.case.sky.sun_sine, self.case.binned(name)
            dawn = (sine > _DAWN_SINE[0]) & (sine <= _DAWN_SINE[1]) & self.before_noon
            known = dawn & np.isfinite(values)
            with np.errstate(invalid="ignore", divide="ignore"):
                began = np.where(known, values, 0.0).sum(axis=1) / counted(known)
            self._morning_rises_k[name] = values - began[:, None]
        return self._morning_rises_k[name]


def spoken(case: Case) -> tuple[Floats, Floats]:
    """Give what each day says of each pair; two arrays of shape (pairs, days).

    Returns
    -------
    says : 1 for a swap, 0 against one, NaN where the day says nothing; a day speaks for one pair
        at most: the first rule that shows one, and of its pairs the one that shows it longest
    hours : how long it speaks for a swap
    """
    days, seen = len(case.days), _Seen(case=case)
    says, hours = np.full((len(PAIRS), days), np.nan), np.zeros((len(PAIRS), days))
    for number, pair in enumerate(PAIRS):
        if {pair.one, pair.other} <= case.channels:
            says[number], hours[number] = _spoken(seen, pair)
    if not (says == 1.0).any():
        return says, hours
    taken = np.zeros(days, dtype=np.bool_)
    for rule in dict.fromkeys(pair.hours for pair in PAIRS):
        members = [number for number, pair in enumerate(PAIRS) if pair.hours is rule]
        shown = np.where(says[members] == 1.0, hours[members], 0.0)
        longest = shown == shown.max(axis=0)
        says[members] = np.where((says[members] == 1.0) & (taken | ~longest), np.nan, says[members])
        taken |= (shown > 0.0).any(axis=0)
    return says, hours


def _spoken(seen: _Seen, pair: Pair) -> Hours:
    speaks_for, against = pair.hours(seen, pair.one, pair.other)
    alive = seen.range_k(pair.one) >= pair.least_range_k
    alive &= seen.range_k(pair.other) >= pair.least_range_k
    shown = alive & (speaks_for >= pair.least_h) & (speaks_for > _OUTWEIGH * against)
    denied = alive & (against >= pair.least_h) & (against > _OUTWEIGH * speaks_for)
    return np.where(shown, 1.0, np.where(denied, 0.0, np.nan)), speaks_for


def sunlit_running_h(case: Case) -> Floats:
    """Give the hours in which the pump ran in the sun; shape (days,)."""
    seen = _Seen(case=case)
    return _h(seen.running & seen.sunny)


def _layers(seen: _Seen, upper: str, lower: str) -> Hours:
    """Warm water lies above cold: standing water upside down mixes within minutes."""
    over = seen.case.binned(upper) - seen.case.binned(lower)
    return _h(over < -3.0), _h(over > 1.5)


def _pipes(seen: _Seen, hot: str, cold: str) -> Hours:
    """While the sun's heat comes down, the pipe from the roof is the warmer one, and as the roof.

    Where the roof is unknown, high sun stands in for it.
    """
    case = seen.case
    spread = case.binned(hot) - case.binned(cold)
    roof = case.loop.t_roof_c
    middle = (case.binned(hot) + case.binned(cold)) / 2.0
    fed = np.where(np.isfinite(roof), roof > middle, case.sky.sun_sine > 0.4)
    use = seen.settled & (case.sky.sun_sine > 0.0) & np.asarray(fed, dtype=np.bool_)
    return _h(use & (spread < -1.5)), _h(use & (spread > 1.5))


def _roof_in_bottom(seen: _Seen, roof: str, store: str) -> Hours:
    """Over a day the roof gets both hotter and colder than the store's bottom.

    A day that tells counts as a whole, with its hours of sun; so does a run in the sun. Where the
    controller is misled as well, a store full of cold water may be the colder one all summer: then
    how hot its sensor gets tells.
    """
    case = seen.case
    high, low = _wider(seen, roof, store)
    sunny = _h(seen.sunny)
    swing_k = seen.range_k(store)
    spanned = (high <= -5.0) & (low >= -3.0) & (swing_k >= _ROOF_RANGE_K)
    boils = (case.binned(store) >= _BOILS_C).any(axis=1)
    spanned |= boils & (high <= -_BEHIND_K) & (swing_k >= _SWING_K)
    wider = (high >= 3.0) & (low <= 1.0)
    healthy = _h(seen.sunlit & (case.binned(roof) > case.binned(store) + 3.0))
    return np.where(spanned, sunny, 0.0), np.where(wider, sunny, healthy)


def _roof_in_top(seen: _Seen, roof: str, store: str) -> Hours:
    """Before dawn the roof is as cold as the air; the top of a store never is.

    The backup may make it hotter than the roof gets, so the day's highest says nothing.
    """
    _, low = _wider(seen, roof, store)
    length = np.full(len(seen.case.days), 24.0)
    return np.where(low >= 10.0, length, 0.0), np.where(low <= -2.0, length, 0.0)


def _wider(seen: _Seen, one: str, other: str) -> tuple[Floats, Floats]:
    """Give how far one's highest and lowest of each day lie above the other's, NaN unknown."""
    known = [np.isfinite(seen.case.binned(name)) for name in (one, other)]
    enough = (known[0] & known[1]).any(axis=1)
    for flags in known:
        enough &= counted(flags) >= _KNOWN_FRAC * DAY_BINS
    high, low = (
        np.where(enough, mine - its, np.nan)
        for mine, its in zip(seen.extremes(one), seen.extremes(other), strict=True)
    )
    return high, low


def _roof_in_pipe(seen: _Seen, roof: str, pipe: str) -> Hours:
    """Before the day's first run the sun warms the roof, and the pipe stays as it was."""
    on_roof, in_pipe = (seen.morning_rise_k(name) for name in (roof, pipe))
    return (
        _h(seen.waiting & (in_pipe > 10.0) & (on_roof < 0.4 * in_pipe)),
        _h(seen.waiting & (on_roof > 10.0) & (in_pipe < 0.4 * on_roof)),
    )


def _air_on_roof(seen: _Seen, air: str, roof: str) -> Hours:
    """In the sun no collector is far colder than the air."""
    over, sun = seen.case.binned(air) - seen.case.binned(roof), seen.sunny
    # In the course of a night both get as cold: a store in the air's place does not.
    night = seen.dark & np.isfinite(over)
    nearest = np.where(night, np.abs(over), np.inf).min(axis=1)
    apart = night.any(axis=1) & (nearest > 8.0)
    return _h(sun & (over > 15.0)), np.where(apart, 24.0, _h(sun & (over < -15.0)))


def _air_in_loop(seen: _Seen, air: str, warm: str) -> Hours:
    """By night the roof is as cold as the air, and the store and its pipes are warmer.

    By day and with the pump on, the pipes are nearly as warm as roof and store, and the air is not.
    """
    case = seen.case
    shows, denies = np.empty((2, len(case.days)), dtype=np.int64)
    air_or_loop(
        given(seen.resting),
        given(seen.sunlit),
        given(case.loop.t_roof_c),
        given(case.binned(air)),
        given(case.binned(warm)),
        shows,
        denies,
    )
    return shows / _HOURS, denies / _HOURS


def _h(flags: Bools) -> Floats:
    return counted(flags) / _HOURS


_SPANS = "over the day “{other}” gets both hotter and colder than “{one}”"
_COLD = "before dawn “{other}” is far colder than “{one}”"
_MORNING = "“{other}” warms in the morning sun before the pump starts, and “{one}” does not"
_AIR = "by night “{other}” is as cold as the roof, and “{one}” is not"
_UPSIDE_DOWN = "“{one}” is colder than “{other}” for hours, as water does not stand"

# Rules in this order: what an earlier one shows would mislead a later one.
PAIRS = (
    Pair(
        one="ambient", other="collector", hours=_air_on_roof, least_h=0.75,
        why="in the sun “{one}” is far warmer than “{other}”",
    ),
    Pair(one="collector", other="loop_hot", hours=_roof_in_pipe, least_h=0.15, why=_MORNING),
    Pair(one="collector", other="loop_cold", hours=_roof_in_pipe, least_h=0.15, why=_MORNING),
    Pair(
        one="collector", other="store_bottom", hours=_roof_in_bottom, least_h=1.0, why=_SPANS,
        least_range_k=_LEAST_ALIVE_K,
    ),
    Pair(
        one="collector", other="store_top", hours=_roof_in_top, least_h=1.0, why=_COLD,
        least_range_k=_LEAST_ALIVE_K,
    ),
    Pair(
        one="collector", other="store_middle", hours=_roof_in_top, least_h=1.0, why=_COLD,
        least_range_k=_LEAST_ALIVE_K,
    ),
    Pair(one="ambient", other="store_bottom", hours=_air_in_loop, least_h=1.5, why=_AIR),
    Pair(one="ambient", other="store_top", hours=_air_in_loop, least_h=1.5, why=_AIR),
    Pair(one="ambient", other="loop_hot", hours=_air_in_loop, least_h=1.0, why=_AIR),
    Pair(one="ambient", other="loop_cold", hours=_air_in_loop, least_h=1.0, why=_AIR),
    Pair(
        one="store_top", other="store_bottom", hours=_layers, least_h=2.0,
        why=_UPSIDE_DOWN,
    ),
    Pair(
        one="store_middle", other="store_bottom", hours=_layers, least_h=2.0,
        why=_UPSIDE_DOWN,
    ),
    Pair(
        one="store_top", other="store_middle", hours=_layers, least_h=2.0,
        why=_UPSIDE_DOWN,
    ),
    Pair(
        one="loop_hot", other="loop_cold", hours=_pipes, least_h=0.75,
        why="while heat comes down “{one}” is the colder one",
    ),
)  # fmt: skip
"""Pairs of channels that get swapped; their place here is their number."""
