"""What a sound plant would have brought beyond the heat that came: less than the sun offered.

A fault that takes a share of the heat leaves the store cooler. In a sound plant the heat that is
missing would have stayed in the store until draws and the backup that it spares took it away; so
long it would have made the loop hotter, which costs some of it, and taken room, of which a store
near its limit has none. The days are gone through one after the other with that extra heat.

What of it a night leaves and how much of the store is as cold as its bottom are known roughly: the
bounds are those of a store that keeps more in less room, and of one that keeps less in more. How
near that comes on invented plants stands in the guide, under the bench of faults.
"""

from dataclasses import dataclass

import numpy as np

from analysis.bounded import Bounded
from analysis.case import Case
from analysis.compiled import compiled, given
from analysis.days import DayTable
from analysis.expected import drawn_days
from analysis.healthy_loop import KEPT_OVERNIGHT, KEPT_UNDRAWN
from analysis.record import Floats, Ints, known_or_zero
from analysis.uncertainty import COVERAGE_95
from analysis.units import SECONDS_PER_HOUR, kwh_from_j

# Share of the store's whole room that is there above a bottom sensor's warmest hour: the upper half
# is warmer (as `expected` has it), and by how much both guesses may be off, 95 % (engineering
# judgement).
_ROOM_FRAC, _ROOM_OFF = 0.75, 0.25
_KEPT_OFF = 0.15
# A store that is full earlier also locks the loop out earlier, and the day's last heat with it: of
# what was not taken, so much less may have come (engineering judgement).
_LOCKED_FRAC = 0.06


def room_columns(case: Case) -> dict[str, Floats]:
    """Give what each day's store could still have taken; arrays of shape (days,).

    `store_room_kwh`: up to its limit from the warmest hour of its bottom sensor; `store_costs_frac`
    the share of heat more in the store that a hotter loop loses over a day's running time;
    `store_drawn` 1 where somebody may have drawn hot water.
    """
    loop, model = case.loop, case.model
    known = np.isfinite(loop.t_store_bottom_c)
    warmest_c = np.max(loop.t_store_bottom_c, axis=1, initial=-np.inf, where=known)
    room_k = np.maximum(case.site.store.limit_c - warmest_c, 0.0)
    carried_s = SECONDS_PER_HOUR * case.hours(case.expected.carried)
    return {
        "store_room_kwh": np.where(
            np.isfinite(room_k), kwh_from_j(room_k * model.store_j_k), np.nan
        ),
        "store_costs_frac": (model.loss_w_k + model.pipe_w_k) * carried_s / model.store_j_k,
        "store_drawn": drawn_days(loop).astype(np.float64),
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class Missed:
    """What a sound plant would have delivered more, and what of the offer its store had left."""

    lost: Bounded
    untaken_kwh: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Store:
    """How a store keeps heat: shares of each day's extra heat left, of its room that is there."""

    kept_frac: Floats
    room_kwh: Floats
    costs_frac: Floats

    def taken_kwh(self, offered_kwh: Floats) -> float:
        """Go through the days with what a sound plant would have had more [kWh]."""
        return _taken_kwh(
            given(offered_kwh), given(self.kept_frac), given(self.room_kwh), given(self.costs_frac)
        )


@compiled
def _taken_kwh(
    offered_kwh: Floats, kept_frac: Floats, room_kwh: Floats, costs_frac: Floats
) -> float:
    extra = total = 0.0
    for day in range(offered_kwh.size):
        # Of the day's own heat half is there on average while the loop runs.
        costs = costs_frac[day]
        more = (offered_kwh[day] - costs * extra) / (1.0 + costs / 2.0)
        more = max(min(more, room_kwh[day] - extra), 0.0)
        total += more
        extra = kept_frac[day] * (extra + more)
    return total


def missed_heat(
    table: DayTable,
    days: Ints,
    offered_kwh: Floats,
    *,
    u_kwh: float = 0.0,
    most_offered_kwh: Floats | None = None,
) -> Missed:
    """Give the heat that a sound plant would have delivered beyond what came.

    Parameters
    ----------
    table : every day
    days : rows of it, in order
    offered_kwh : shape (len(days),), what sound collectors would have given more at the
        temperatures that occurred [kWh]
    u_kwh : standard uncertainty of its sum [kWh]
    most_offered_kwh : likewise by another reading of the fault, as likely; None for no other

    Returns
    -------
    the middle of both readings with 95 % bounds, and the rest of what was offered
    """
    offered = np.maximum(known_or_zero(offered_kwh), 0.0)
    most = offered if most_offered_kwh is None else known_or_zero(most_offered_kwh)
    least, most = np.minimum(offered, most), np.maximum(offered, most)
    usual, tight, wide = (_store(table, days, off=off) for off in (0.0, -1.0, 1.0))
    low, high = usual.taken_kwh(least), usual.taken_kwh(most)
    value = (low + high) / 2.0
    whole = float((least + most).sum()) / 2.0
    reach = COVERAGE_95 * u_kwh * value / whole if whole > 0.0 else 0.0
    untaken = max(whole - value, 0.0)
    locked = _LOCKED_FRAC * untaken
    below = np.hypot(np.hypot(value - min(tight.taken_kwh(least), value), reach), locked)
    above = np.hypot(max(wide.taken_kwh(most), value) - value, reach)
    return Missed(
        lost=Bounded(value=value, low=max(value - float(below), 0.0), high=value + float(above)),
        untaken_kwh=untaken,
    )


def _store(table: DayTable, days: Ints, *, off: float) -> _Store:
    """Give the store as it is taken to be, or `off` by so much of what the guesses may be off."""
    drawn = table.column("store_drawn")[days] != 0.0
    kept = np.where(drawn, KEPT_OVERNIGHT, KEPT_UNDRAWN) - off * _KEPT_OFF
    room = table.column("store_room_kwh")[days] * (_ROOM_FRAC + off * _ROOM_OFF)
    return _Store(
        kept_frac=np.minimum(kept, 1.0),
        room_kwh=np.where(np.isfinite(room), room, np.inf),
        costs_frac=known_or_zero(table.column("store_costs_frac")[days]),
    )
