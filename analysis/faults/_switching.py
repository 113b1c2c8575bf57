"""How the controller switched the pump, day by day: at which differences, and how often.

A pump that is off stands below its start difference, one that is on above its stop difference. So
the rows just before it comes on and just before it goes off tell both settings, whatever the step:
the longer it is, the further they lie inside the band between the two.
"""

from dataclasses import dataclass

import numpy as np

from analysis.case import Case
from analysis.days import DayTable
from analysis.expected import full_store
from analysis.heat import PUMP_ON_PERCENT, column
from analysis.quantiles import quantile_of_groups, running
from analysis.record import Bools, Floats, Ints
from analysis.runs import lately
from analysis.season import SEASON_DAYS
from analysis.units import SECONDS_PER_HOUR

# Night, and twilight with a sun too low to start a pump, are other kinds' matter (engineering
# judgement: 3 degrees).
_UP_SINE = 0.05
# A full store or a locked collector shapes what follows for so long (engineering judgement). One
# that may still be held from the evening before has cooled from below: a start ends that at once.
_AFTER_BINS = 24
# A collector this near to its cut-out, or this far above the store, waits for something else than
# its start difference (engineering judgement).
_LOCK_K, _FAR_K = 25.0, 45.0
# Rows further apart than this share of their step have a hole between them.
_NEXT_STEP = 1.6
# Which of a day's starts and stops stand for it: most lie inside the band, the outermost may be a
# slug of cold fluid (engineering judgement).
_OUTER_FRAC = 0.8
_NEEDED = {
    "pump": "pump signal",
    "collector": "collector temperature",
    "store_bottom": "store bottom temperature",
}


def switching_columns(case: Case) -> dict[str, Floats]:
    """Read the switching of every day off the rows; shape (days,), NaN where it does not tell.

    `switch_start_k`, `switch_stop_k` collector over store bottom just before the pump comes on and
    goes off [K]; `switch_start_bottom_k` the former if the store's bottom alone says when the store
    is full: a controller that watches its top may have waited for that instead [K];
    `switch_starts` how often it came on in the sun; `switch_sun_h` known hours of sun in which
    nothing but the difference ruled; `switch_step_s` the usual step of the rows.
    """
    record = case.record
    pump, roof, bottom = (column(record, name) for name in _NEEDED)
    free = _free(case)
    ruled, cell = rows_of(case, free & ~case.full_or_locked), cell_of_rows(case)
    unread = np.zeros(len(record), dtype=np.bool_)
    known = [case.read.get(name, unread) for name in _NEEDED]
    for flags in known:
        ruled &= flags
    on = pump >= PUMP_ON_PERCENT
    switches = _switches(case, on)
    comes = ~on[switches]
    over_k = roof[switches] - bottom[switches]
    near = comes & (over_k < _FAR_K)
    told = ruled[switches] & ruled[switches + 1]
    by_bottom = (free & ~case.bottom_full_or_locked).ravel()
    alone = np.ones(switches.shape, dtype=np.bool_)
    for at in (switches, switches + 1):
        for flags in known:
            alone &= flags[at]
        alone &= by_bottom[cell[at]] & (cell[at] >= 0)
    start = near & told
    hours = case.seconds(ruled) / SECONDS_PER_HOUR
    seen = hours > 0.0
    day = case.day[switches]

    def outer(chosen: Bools, frac: float) -> Floats:
        return quantile_of_groups(over_k[chosen], day[chosen], len(case.days), frac)

    starts = np.bincount(day[start], minlength=len(case.days)).astype(np.float64)
    return {
        "switch_start_k": outer(start, _OUTER_FRAC),
        "switch_start_bottom_k": outer(near & alone, _OUTER_FRAC),
        "switch_stop_k": outer(~comes & told, 1.0 - _OUTER_FRAC),
        "switch_starts": np.where(seen, starts, np.nan),
        "switch_sun_h": np.where(seen, hours, np.nan),
        "switch_step_s": _usual_step_s(case, ruled, seen),
    }


def _switches(case: Case, on: Bools) -> Ints:
    """Give the rows of days after which the pump comes on or goes off, without a hole between."""
    rows = np.flatnonzero(on[1:] != on[:-1])
    start_s, step_s, day = case.record.start_s, case.record.step_s, case.day
    near = start_s[rows + 1] - start_s[rows] <= _NEXT_STEP * step_s[rows]
    return np.asarray(rows[near & (day[rows] == day[rows + 1]) & (day[rows] >= 0)])


def unjudged(table: DayTable, starts: str = "switch_start_k") -> str:
    """Give why the switching of no day is known, by this column of starts; empty where it is."""
    for name, words in _NEEDED.items():
        if f"seen_{name}" not in table.columns:
            return f"no {words} in the log"
    if not np.isfinite(table.column(starts)).any():
        return "the pump was never seen starting in the sun"
    return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell:
    """Days of the table on which a level was out of bounds; `over`: sound days came after."""

    days: Ints
    over: bool


def spells_of(known: Ints, flagged: Bools, *, least: int) -> list[Spell]:
    """Join flagged days; those within a season are one spell.

    Parameters
    ----------
    known : shape (m,), days that tell
    flagged : shape (m,), those that are out of bounds
    least : fewer in a row are no spell, nor do fewer end one
    """
    change = np.flatnonzero(np.diff(np.concatenate(([0], flagged, [0]))))
    found: list[Spell] = []
    for first, last in zip(change[::2].tolist(), change[1::2].tolist(), strict=True):
        if last - first < least:
            continue
        days = known[first:last]
        over = known.size - last >= least
        if found and days[0] - found[-1].days[-1] <= SEASON_DAYS:
            days = np.concatenate((found.pop().days, days))
        found.append(Spell(days=days, over=over))
    return found


def steps_above(
    values: Floats, most: float, *, least: int, apart: Floats | None = None
) -> list[Spell]:
    """Find spells of a level above a bound.

    A running median over the days that tell keeps the edges of a step and leaves strays out. With
    `apart`, shape (days,), the middle half of the days around lies no further apart than that.
    """
    known = np.flatnonzero(np.isfinite(values))
    if known.size < least:
        return []
    width = 2 * least - 1
    flagged = running(values[known], 0.5, width) > most
    if apart is not None:
        # Days behind the edge of a step are none of the level's own.
        own = np.where(values[known] > most, values[known], np.nan)
        half = running(own, 0.75, width) - running(own, 0.25, width)
        flagged &= half <= apart[known]
    return spells_of(known, flagged, least=least)


def span_of(table: DayTable, spell: Spell) -> tuple[int, int]:
    """Give the instants from the first day of a spell to the end of its last."""
    return int(table.days.edge_s[spell.days[0]]), int(table.days.edge_s[spell.days[-1] + 1])


def _free(case: Case) -> Bools:
    """Tell bins in which the sun is up, and neither a full store nor a hot roof shaped the pump.

    Where the controller holds the pump back besides, the difference alone does not rule it.
    """
    locks_c = case.site.controller.collector_cutout_c - _LOCK_K
    full = full_store(case.loop, case.site, after_yesterday=False)
    shaped = lately(full | (case.loop.t_roof_c > locks_c), _AFTER_BINS)
    return np.asarray(~shaped & (case.sky.sun_sine > _UP_SINE))


def cell_of_rows(case: Case) -> Ints:
    """Give the bin that each row begins in, -1 outside the days; shape (n,)."""
    if case.grid.whole:
        return case.grid.cell
    cell: Ints = np.full(len(case.record), -1, dtype=np.int64)
    cell[case.grid.row[::-1]] = case.grid.cell[::-1]
    return cell


def rows_of(case: Case, flags: Bools) -> Bools:
    """Give each row the flag of the bin that it begins in; False outside the days."""
    cell = cell_of_rows(case)
    found = flags.ravel()[cell]
    return found if case.grid.whole else np.where(cell >= 0, found, False)


def _usual_step_s(case: Case, flags: Bools, seen: Bools) -> Floats:
    """Give the median step of the flagged rows of each day; NaN where none is seen."""
    step_s = case.record.step_s
    if (step_s == step_s[0]).all():
        return np.where(seen, step_s[0], np.nan)
    rows = np.flatnonzero(flags & (case.day >= 0))
    return quantile_of_groups(step_s[rows], case.day[rows], len(case.days), 0.5)
