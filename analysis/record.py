"""A checked table of channels on rising UTC steps: what every later stage takes as given.

A stamp inside labels the START of its step `[start_s, start_s + step_s)`. Nothing after the
constructor checks again. Values are as logged; impossible ones are masked by `screen`, which
keeps the raw table untouched beside it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.channels import Channel, channel, is_daily
from analysis.common_rows import GAP_IN_STEPS, on_common_rows
from analysis.compiled import compiled, given
from analysis.errors import RecordError
from analysis.units import SECONDS_PER_HOUR

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# A step longer than this stands for nothing that minute-by-minute physics can use
# (common practice, no source): such a row covers its last hour only.
LONGEST_STEP_S = SECONDS_PER_HOUR
# Less than half of the shortest day: so near to its noon a row is one of the same day.
_SAME_DAY_S = 11 * SECONDS_PER_HOUR


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Record:
    """Channels on a common, strictly rising time axis.

    Attributes
    ----------
    start_s : shape (n,), start of each step, UTC epoch seconds, strictly rising
    step_s : shape (n,), how long each row stands for [s]
    columns : channel name to values of shape (n,) in the channel's canonical unit; NaN missing
    masked : channel name to a flag of shape (n,) where an impossible value was masked;
        only channels with at least one
    daily : channels of whole days, values of shape (n,): each day's figure on one of its rows. They
        are no samples, so nothing that looks at `columns` meets them
    away_s : channels that were sampled apart from the rows, shape (n,): how far from its row each
        value was taken, NaN where it stood there (`analysis.common_rows`) [s]
    """

    start_s: Ints
    step_s: Floats
    columns: Mapping[str, Floats]
    masked: Mapping[str, Bools]
    daily: Mapping[str, Floats] = field(default_factory=dict)
    away_s: Mapping[str, Floats] = field(default_factory=dict)

    def __post_init__(self) -> None:
        n = self.start_s.shape[0]
        if self.step_s.shape != (n,):
            raise RecordError("steps and stamps differ in length")
        if n > 1 and not bool(np.all(np.diff(self.start_s) > 0)):
            raise RecordError("stamps do not rise")
        for name, values in (*self.columns.items(), *self.daily.items()):
            if channel(name) is None:
                raise RecordError(f"unknown channel {name}")
            if values.shape != (n,) or values.dtype != np.float64:
                raise RecordError(f"channel {name} has the wrong shape or type")
            values.setflags(write=False)
        self.start_s.setflags(write=False)
        self.step_s.setflags(write=False)
        object.__setattr__(self, "columns", MappingProxyType(dict(self.columns)))
        object.__setattr__(self, "daily", MappingProxyType(dict(self.daily)))
        object.__setattr__(self, "masked", MappingProxyType(dict(self.masked)))
        object.__setattr__(self, "away_s", MappingProxyType(dict(self.away_s)))

    def __len__(self) -> int:
        return int(self.start_s.shape[0])

    def get(self, name: str) -> Floats | None:
        """Give the values of a channel, or None where it was never logged."""
        found = self.columns.get(name)
        return self.daily.get(name) if found is None else found

    def has(self, *names: str) -> bool:
        """Tell whether all these channels were logged at all."""
        return all(name in self.columns for name in names)

    def part(self, first: int, last: int) -> "Record":
        """Give rows `first` to `last` (excluded), sharing memory."""
        return Record(
            start_s=self.start_s[first:last],
            step_s=self.step_s[first:last],
            columns={name: values[first:last] for name, values in self.columns.items()},
            masked={name: flags[first:last] for name, flags in self.masked.items()},
            daily={name: values[first:last] for name, values in self.daily.items()},
            away_s={name: values[first:last] for name, values in self.away_s.items()},
        )


def known_or_zero(values: Floats) -> Floats:
    """Give the values with 0 where they are unknown."""
    known = np.empty(values.shape)
    _know(given(values.ravel()), known.ravel())
    return known


@compiled
def _know(values: Floats, known: Floats) -> None:
    """Write the values with 0 for NaN."""
    for place in range(values.size):
        value = values[place]
        known[place] = 0.0 if np.isnan(value) else value


def steps_s(stamp_s: Ints, *, stamp: Literal["end", "start"]) -> Floats:
    """Give how long each row stands for.

    A row stands for the time to its neighbour (the one before for end stamps, after for start
    stamps), but where that distance is a gap, only for the usual step around it.

    Parameters
    ----------
    stamp_s : shape (n,), strictly rising stamps [s]
    stamp : which end of its step a stamp marks

    Returns
    -------
    shape (n,), step lengths [s]
    """
    n = stamp_s.shape[0]
    if n < 2:
        return np.full(n, 60.0)
    distance = np.diff(stamp_s).astype(np.float64)
    if distance.min() == distance.max():
        return np.full(n, min(distance[0], LONGEST_STEP_S))
    usual = _usual_step_s(distance)
    own = np.where(distance > GAP_IN_STEPS * usual, usual, distance)
    own = np.minimum(own, LONGEST_STEP_S)
    steps = np.empty(n)
    if stamp == "end":
        steps[1:] = own
        steps[0] = own[0]
    else:
        steps[:-1] = own
        steps[-1] = own[-1]
    return steps


def _usual_step_s(distance: Floats) -> Floats:
    """Give the usual distance around each one: the calmer of its two sides."""
    padded = np.pad(distance, 2, mode="edge")
    before = np.maximum(padded[:-4], padded[1:-3])
    after = np.maximum(padded[3:-1], padded[4:])
    near = np.minimum(padded[1:-3], padded[3:-1])
    return np.where(
        distance > GAP_IN_STEPS * np.minimum(before, after), np.minimum(before, near), distance
    ).clip(max=LONGEST_STEP_S)


def record_from_stamps(
    *,
    stamp_s: Ints,
    columns: Mapping[str, Floats],
    stamp: Literal["end", "start"] = "end",
) -> Record:
    """Build a screened record from stamped rows.

    A row that holds figures of a day and nothing else is no sample: the figures go to the nearest
    row of samples of that day, and the row stays only where the day has none. Channels that were
    sampled apart are brought to common rows. Values outside what their channel can be are masked
    (NaN) and flagged in `masked`.

    Parameters
    ----------
    stamp_s : shape (n,), strictly rising UTC epoch seconds, as stamped; figures of a day at its
        noon [s]
    columns : channel to values of shape (n,), canonical units
    stamp : which end of its step a stamp marks

    Raises
    ------
    RecordError : stamps that do not rise, unknown channels, unequal lengths
    """
    common = on_common_rows(*_on_samples(stamp_s, columns))
    stamp_s, columns = common.stamp_s, common.columns
    steps = steps_s(stamp_s, stamp=stamp)
    start = stamp_s - np.rint(steps).astype(np.int64) if stamp == "end" else stamp_s.copy()
    kept: dict[str, Floats] = {}
    masked: dict[str, Bools] = {}
    for name, values in columns.items():
        known = channel(name)
        if known is None:
            raise RecordError(f"unknown channel {name}")
        outside = _outside(values, known)
        if outside is not None:
            masked[name] = outside
            values = np.where(outside, np.nan, values)
        else:
            values = np.array(values, dtype=np.float64, copy=values.dtype != np.float64)
        kept[name] = values
    return Record(
        start_s=start,
        step_s=steps,
        columns={name: values for name, values in kept.items() if not is_daily(name)},
        masked={name: flags for name, flags in masked.items() if not is_daily(name)},
        daily={name: values for name, values in kept.items() if is_daily(name)},
        away_s=common.away_s,
    )


def _outside(values: Floats, known: Channel) -> Bools | None:
    """Tell which values are outside what a channel can be, None where none is."""
    low, high = known.lowest, known.highest
    with np.errstate(invalid="ignore"):
        # Mostly the ends tell; of unknown values they do not.
        if values.min(initial=low) >= low and values.max(initial=high) <= high:
            return None
        outside: Bools = (values < low) | (values > high)
    return outside if outside.any() else None


def of_days_alone(columns: Mapping[str, Floats], count: int) -> Bools:
    """Tell which of `count` rows hold figures of whole days and no sample."""
    days, samples = np.zeros(count, dtype=np.bool_), np.zeros(count, dtype=np.bool_)
    if any(map(is_daily, columns)):
        for name, values in columns.items():
            held = days if is_daily(name) else samples
            held |= np.isfinite(values)
    return days & ~samples


def _on_samples(stamp_s: Ints, columns: Mapping[str, Floats]) -> tuple[Ints, Mapping[str, Floats]]:
    """Move figures of days from rows of their own to the nearest row of samples of the day."""
    alone = of_days_alone(columns, len(stamp_s))
    if not alone.any() or alone.all():
        return stamp_s, columns
    rows, others = np.flatnonzero(alone), np.flatnonzero(~alone)
    after = np.searchsorted(stamp_s[others], stamp_s[rows])
    before = others[np.maximum(after - 1, 0)]
    after = others[np.minimum(after, len(others) - 1)]
    to_after, to_before = (np.abs(stamp_s[one] - stamp_s[rows]) for one in (after, before))
    nearest = np.where(to_after < to_before, after, before)
    near = np.minimum(to_after, to_before) <= _SAME_DAY_S
    moved: dict[str, Floats] = {}
    for name, values in columns.items():
        if is_daily(name):
            values = values.copy()
            values[nearest[near]] = np.fmax(values[nearest[near]], values[rows[near]])
        moved[name] = np.delete(values, rows[near])
    return np.delete(stamp_s, rows[near]), moved
