"""What keeps a meaning from being stated though its share is high: its unit, or another column.

A share counts words, sizes and physics together. Two things need physics alone: which unit a
register counts in where nothing says it, for two units lie near each other; and whether two
headers that name temperatures stand over each other's data.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.channels import BASE_CHANNELS
from analysis.logs.asking import OpenColumn
from analysis.logs.conversions import UNITS
from analysis.meaning.assign import Assignment, Links, between
from analysis.meaning.states import UNIT_SHARES, Header, State, printed_unit
from analysis.site import ColumnMeaning

# Units whose sizes differ by more than this are told apart by size; a kilowatt-hour is 3.6 MJ.
_NEAR = math.log(10.0)
# By so much heat must speak for one unit over the next [nats]; engineering judgement.
_SETTLED = 2.0
# From here on the values want two temperatures to change places whatever their headers say [nats].
# Right headers reach 0.2 at most in 32 dialects of the corpus, crossed ones 7 to 14 (`home`, 8 days
# in May and January).
_EXCHANGED = 4.0
# What runs in the sun, and a correlation with it that none of these has (engineering judgement).
_SUNNY = ("pump", "secondary_pump", "flow", "heat_power")
_AGAINST_THE_SUN = -0.25
# A pump's speed that is regulated goes well above this in percent (engineering judgement).
_LEAST_MOST, _MOST_LITTLE, _PERCENT = 1.0, 20.0, 101.0
_NO_PERCENT = re.compile(
    r"(?<![^\W\d_])(?:\d+\s*-\s*10\s*v|volts?|rpm|hz)(?![^\W\d_])", re.IGNORECASE
)
INVERTED = "it is on by night and off in the sun: it may tell when the pump is off"


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """What physics leaves open of a meaning.

    Attributes
    ----------
    units : in which the column may also count, the most usual first
    channel : what it does rather, by its values alone; "" where they agree with its header
    printed : the unit of its head, where heat forbids it
    times : how much more heat (below 1: less) that would be than there can be, or than another
        column shows
    unread : what stands in the head where a unit or its scale does, and is not known
    beyond : how many times the heat that is likely it would be, where no sun could give it
    inverted : whether it is on by night and off in the sun, as a signal for "off" is
    scale : why a share without a unit is no percent, as minutes, volts or bits would be
    """

    units: tuple[str, ...] = ()
    channel: str = ""
    printed: str = ""
    times: float = 1.0
    unread: str = ""
    beyond: float = 0.0
    inverted: bool = False
    scale: str = ""

    def __bool__(self) -> bool:
        return bool(self.units or self.channel or self.against or self.inverted or self.scale)

    def reason(self, best: State) -> str:
        """Say it as a phrase that begins with "but", "" where nothing is open."""
        says = {name: BASE_CHANNELS[name].says for name in (best.channel, self.channel) if name}
        if self.channel:
            return (
                f"but the values are those of the {says[self.channel]}, "
                f"and another column has those of the {says[best.channel]}"
            )
        if self.inverted:
            return f"but {INVERTED}"
        if self.scale:
            return f"but {self.scale}"
        if self.against:
            return f"but {self.against}"
        if self.units:
            units = [printed_unit(best.channel, unit) for unit in (best.unit, *self.units)]
            return f"but the heat does not tell whether it counts in {' or '.join(units)}"
        return ""

    @property
    def against(self) -> str:
        """Say what speaks against the unit of the head, "" where nothing does."""
        if self.unread:
            return f"its head says {self.unread}, and how to read that is not known"
        if self.beyond:
            return f"it would be {self.beyond:.0f} times the heat that is likely; check its unit"
        if not self.printed:
            return ""
        much = (
            f"{self.times:.0f} times the" if self.times > 1.0 else f"1/{1 / self.times:.0f} of the"
        )
        return f"its head says {self.printed}, which would be {much} heat that is likely"


def doubt_of(
    column: int,
    best: State,
    *,
    headers: Sequence[Header],
    known: ColumnMeaning | None,
    states: Sequence[Sequence[State]],
    assignment: Assignment,
    links: Links,
) -> Doubt:
    """Say what physics leaves open of what a column is taken for.

    Parameters
    ----------
    column : which column
    best : what it is taken for
    known : what a map says of it
    headers, states, assignment, links : what led there

    Returns
    -------
    Doubt
        False where all is settled.
    """
    printed = headers[column].unit
    quantity = BASE_CHANNELS[best.channel].quantity if best.channel else ""
    if quantity in printed.quantities and best.unit != printed.unit and links.balance is not None:
        more = math.log(UNITS[quantity][printed.unit].factor / best.factor)
        return Doubt(
            units=(printed.unit,),
            printed=printed_unit(best.channel, printed.unit),
            times=math.exp(more),
        )
    said = known is not None and known.unit is not None
    if printed.unread and quantity in UNIT_SHARES and not said:
        others = _scaled(best) if printed.unit else tuple(UNIT_SHARES[quantity])
        return Doubt(units=others, unread=printed.unread)
    over = math.nan if links.balance is None else links.balance.over(column, best)
    if over > 0.0 and not said and links.balance and links.balance.absurd(column, best):
        return Doubt(units=(*_scaled(best)[1:], *_smaller(quantity, best)), beyond=math.exp(over))
    said = said or "energy" in headers[column].unit.quantities
    units = () if said else _open_units(column, best, states, assignment, links)
    channel = ""
    if headers[column].scores.nats.get(best.channel):
        gain, other = _exchanged(column, headers, states, assignment, links)
        channel = other if gain >= _EXCHANGED else ""
    inverted = best.channel in _SUNNY and best.look.sun_like < _AGAINST_THE_SUN
    return Doubt(units=units, channel=channel, inverted=inverted)


def _scaled(best: State) -> tuple[str, ...]:
    """Give a unit ten times as large, and its parts."""
    printed = printed_unit(best.channel, best.unit)
    return tuple(f"{size} {printed}" for size in ("10", "0.1", "0.01"))


def _smaller(quantity: str, best: State) -> tuple[str, ...]:
    """Give the usual units that are smaller."""
    table = UNITS[quantity]
    return tuple(one for one in UNIT_SHARES[quantity] if table[one].factor < best.factor)


def doubt_of_scale(column: OpenColumn, best: State, *, unit: str) -> Doubt:
    """Say whether a share without a unit may be no percent.

    Parameters
    ----------
    column : its head and its values as written
    best : what the column is taken for
    unit : the unit that was found in its head
    """
    share = best.channel and BASE_CHANNELS[best.channel].quantity == "share"
    held = column.values[np.isfinite(column.values)]
    if not share or best.unit is not None or unit or column.known is not None or not len(held):
        return Doubt()
    most = float(held.max())
    told = _NO_PERCENT.search(column.head)
    if not told and not _LEAST_MOST < most <= _MOST_LITTLE and most <= _PERCENT:
        return Doubt()
    return Doubt(
        scale=f"it goes up to {most:g}, which need not be percent: it may be volts, minutes of "
        'each step or bits; its unit says how much one is, as "10 %" for 0 to 10 V or "0.392 %" '
        "for 0 to 255"
    )


def _open_units(
    column: int,
    best: State,
    states: Sequence[Sequence[State]],
    assignment: Assignment,
    links: Links,
) -> tuple[str, ...]:
    """Give the units near that of a register which heat does not rule out."""
    if best.channel != "heat_register":
        return ()
    scales = UNITS["energy"]
    size = math.log(scales[best.unit or ""].factor)
    mine = _by_heat(column, best, states, assignment, links)
    return tuple(
        unit
        for unit in UNIT_SHARES["energy"]
        if unit != best.unit
        and abs(math.log(scales[unit].factor) - size) < _NEAR
        and mine - _by_heat(column, replace(best, unit=unit), states, assignment, links) < _SETTLED
    )


def _by_heat(
    column: int,
    state: State,
    states: Sequence[Sequence[State]],
    assignment: Assignment,
    links: Links,
) -> float:
    """Say how well a unit fits the heat that sun, flow and power tell of [nats]."""
    if links.balance is None:
        return 0.0
    nats = links.balance.alone(column, state)
    for other, option in enumerate(assignment.best):
        if other != column:
            nats += links.balance.both(other, states[other][option], column, state)
    return nats


def _alone(column: int, state: State, headers: Sequence[Header]) -> float:
    """Say how much a column's own values speak for a state, its words left out [nats]."""
    return state.nats - headers[column].scores.nats.get(state.channel, 0.0)


def _exchanged(
    column: int,
    headers: Sequence[Header],
    states: Sequence[Sequence[State]],
    assignment: Assignment,
    links: Links,
) -> tuple[float, str]:
    """Say how much the values alone want a temperature to change places with another [nats].

    Minus infinity where it can with none, else with the other's channel.
    """
    best = [own[option] for own, option in zip(states, assignment.best, strict=True)]
    found = (-math.inf, "")
    if not _warm(best[column]):
        return found
    for other, theirs in enumerate(best):
        if other == column or not _warm(theirs) or theirs.channel == best[column].channel:
            continue
        here = _state(states[column], theirs.channel)
        there = _state(states[other], best[column].channel)
        if here is None or there is None:
            continue
        after = list(best)
        after[column], after[other] = here, there
        gain = _pair(column, other, after, headers, links)
        gain -= _pair(column, other, best, headers, links)
        found = max(found, (gain, theirs.channel))
    return found


def _warm(state: State) -> bool:
    return bool(state.channel) and BASE_CHANNELS[state.channel].quantity == "temperature"


def _state(own: Sequence[State], channel: str) -> State | None:
    return next((state for state in own if state.channel == channel), None)


def _pair(
    one: int, other: int, best: Sequence[State], headers: Sequence[Header], links: Links
) -> float:
    """Give what two columns add as these states, words left out [nats]."""
    nats = _alone(one, best[one], headers) + _alone(other, best[other], headers)
    nats += between(best[one], best[other], links, one, other)
    for third, theirs in enumerate(best):
        if third not in (one, other):
            nats += between(best[one], theirs, links, one, third)
            nats += between(best[other], theirs, links, other, third)
    return nats
