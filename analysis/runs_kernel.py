"""The compiled loops of `analysis.runs`: one pass over the bins of each day."""

from analysis.compiled import compiled
from analysis.record import Bools


@compiled
def latch(sets: Bools, holds: Bools, first: Bools, on: Bools) -> None:
    """Write a state that some bins set and that lasts while others hold it.

    Parameters
    ----------
    sets, holds : shape (days, bins)
    first : shape (days,), the state before the first bin
    on : shape (days, bins), written
    """
    for day in range(sets.shape[0]):
        state = first[day]
        for place in range(sets.shape[1]):
            state = sets[day, place] or (state and holds[day, place])
            on[day, place] = state


@compiled
def keep_long(flags: Bools, least: int, kept: Bools) -> None:
    """Flag runs of at least so many flagged bins; `kept` comes without any flag."""
    for day in range(flags.shape[0]):
        length = 0
        for place in range(flags.shape[1]):
            length = length + 1 if flags[day, place] else 0
            if length == least:
                kept[day, place + 1 - least : place + 1] = True
            elif length > least:
                kept[day, place] = True


@compiled
def find_short(flags: Bools, most: int, holes: Bools) -> None:
    """Flag holes of at most so many bins between flagged ones; `holes` comes without any flag."""
    for day in range(flags.shape[0]):
        last = -1
        for place in range(flags.shape[1]):
            if flags[day, place]:
                if last >= 0 and place - last - 1 <= most:
                    holes[day, last + 1 : place] = True
                last = place


@compiled
def stay(flags: Bools, most: int, late: Bools) -> None:
    """Write which bins are flagged, or come at most so many bins after a flagged one of the day."""
    for day in range(flags.shape[0]):
        left = 0
        for place in range(flags.shape[1]):
            left = most + 1 if flags[day, place] else left - 1
            late[day, place] = left > 0
