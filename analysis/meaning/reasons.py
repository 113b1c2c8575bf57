"""Why a column is taken for what it is, in sentences for the person on the landing."""

from collections.abc import Sequence

import numpy as np

from analysis.channels import BASE_CHANNELS
from analysis.meaning.assign import Assignment, Links
from analysis.meaning.looks import Look
from analysis.meaning.pairs import relation_nats, relations
from analysis.meaning.states import Header, State, printed_unit
from analysis.meaning.traits import TRAITS

_MOST_SIGNS, _MOST_PAIRS, _MOST_DOUBTS = 3, 2, 1
# What weighs less than this is not worth a sentence [nats].
_WORTH, _WORTH_BESIDE, _DOUBT = 0.6, 0.25, 1.8
_PRINTED = {
    "temperature": "°C",
    "irradiance": "W/m²",
    "speed": "m/s",
    "flow": "l/min",
    "volume": "l",
    "share": "%",
    "pressure": "bar",
    "energy": "kWh",
    "power": "W",
    "duration": "h",
}


def says_of(state: State) -> str:
    """Name a state: the channel in the trade's words."""
    return BASE_CHANNELS[state.channel].says if state.channel else "none of these"


def reasons_for(
    column: int,
    state: State,
    *,
    head: str,
    headers: Sequence[Header],
    states: Sequence[Sequence[State]],
    assignment: Assignment,
    links: Links,
) -> tuple[str, ...]:
    """Give the reasons for a state of a column, the words first, then what the data do.

    Parameters
    ----------
    column : which column
    state : what it is taken for
    head : its header text
    headers, states, assignment, links : what led there

    Returns
    -------
    tuple of str
        Phrases; what speaks against it begins with "but".
    """
    header = headers[column]
    found: list[str] = []
    words = header.scores.nats.get(state.channel, 0.0)
    if words > 0.0:
        found.append(f"the header “{head}” says {says_of(state)}")
    elif header.scores.nats:
        said = max(header.scores.nats, key=lambda name: header.scores.nats[name])
        found.append(f"but the header “{head}” says {BASE_CHANNELS[said].says}")
    if header.unit.unit and state.channel:
        quantity = BASE_CHANNELS[state.channel].quantity
        printed = printed_unit(state.channel, header.unit.unit)
        if quantity in header.unit.quantities:
            found.append(f"the unit {printed or header.unit.unit} fits")
        else:
            found.append(f"but the unit {header.unit.unit} does not fit")
    found += [f"it {phrase}" for phrase in _does(state, states[column])]
    found += _beside(column, state, states, assignment, links)
    found += [f"but it {phrase}" for phrase in _does(state, states[column], against=True)]
    return tuple(found)


def _does(state: State, others: Sequence[State], *, against: bool = False) -> list[str]:
    """Say by which traits a state stands out among what the column may be, or falls behind."""
    if not state.channel:
        return []
    lifts: list[tuple[float, str]] = []
    weak: list[tuple[float, str]] = []
    rest = np.array([other.traits for other in others if other.channel != state.channel])
    if not rest.size:
        return []
    seen = state.seen
    beside = rest.max(axis=0) if against else rest.mean(axis=0)
    for trait, lift in zip(TRAITS, (state.traits - beside).tolist(), strict=True):
        phrase = _phrase(trait.name, seen, BASE_CHANNELS[state.channel].quantity)
        if phrase and (lift <= -_DOUBT if against else lift >= _WORTH):
            lifts.append((-abs(lift), phrase))
        elif phrase and lift > 0.0:
            weak.append((-lift, phrase))
    if not lifts and not against:
        lifts = sorted(weak)[:1]
    lifts.sort()
    return [phrase for _, phrase in lifts[: _MOST_DOUBTS if against else _MOST_SIGNS]]


def _three(value: float) -> str:
    """Write three figures, never as a power of ten."""
    return f"{float(f'{value:.3g}'):,.0f}" if abs(value) >= 1000 else f"{value:.3g}"


def _phrase(trait: str, seen: Look, quantity: str) -> str:
    """Say a trait in words, "" where it is nothing for people."""
    unit = _PRINTED.get(quantity, "")
    warm = quantity == "temperature"
    if trait == "register":
        return "only ever rises, as a counter does" if seen.register == 1.0 else ""
    if trait == "rise_per_day":
        return f"gains {_three(seen.rise_per_day)} {unit} a day"
    if trait == "zero":
        return f"is zero for {seen.zero:.0%} of the time" if seen.zero > 0.05 else ""
    if trait == "dark_zero":
        return "is nothing at night" if seen.dark_zero > 0.9 else ""
    if trait == "on_by_day":
        return "is there by day only" if seen.on_by_day > 0.95 else ""
    if trait == "distinct":
        return "knows only on and off" if seen.distinct <= 2.0 else ""
    if trait == "on_spread" and not warm:
        if seen.on_spread < 0.25:
            return "is much the same whenever it is there"
        return "varies widely while it is there" if seen.on_spread > 0.8 else ""
    if trait == "sun_like":
        if seen.sun_like > 0.6:
            return "rises and falls with the sun"
        return "is higher by day" if seen.sun_like > 0.25 else "does not follow the sun"
    if trait == "lag_h":
        late = seen.lag_h
        return f"is highest {late:.0f} hours after noon" if 1.5 <= late <= 8.0 else ""
    if trait == "swing":
        size = f"{_three(seen.swing)} {'K' if warm else unit}".rstrip()
        return f"moves by {size} within a day"
    if trait == "high":
        return f"reaches {_three(seen.high)} {unit}".rstrip()
    if trait == "on_level":
        return f"is usually about {_three(seen.on_level)} {unit}".rstrip()
    moves = seen.moves
    if trait == "start" and warm and moves.start > 0.1:
        return "jumps up when the loop starts"
    if trait == "start" and warm and moves.start < -0.05:
        return "falls when the loop starts"
    if trait == "start_size" and warm and moves.start_size < 0.03:
        return "hardly notices the loop starting"
    if trait == "on_rise" and warm and moves.on_rise > 0.08:
        return "rises while the loop runs"
    if trait == "night_move" and moves.night_move < 0.015:
        return "keeps still at night"
    if trait == "on_like" and moves.on_like > 0.85:
        return "is there when the loop runs"
    if trait == "day_zero" and quantity == "irradiance" and seen.day_zero < 0.02:
        return "is there whenever the sun is up"
    if trait == "night_share" and warm:
        return f"is about {seen.night:.0f} °C at night"
    return ""


def _beside(
    column: int,
    state: State,
    states: Sequence[Sequence[State]],
    assignment: Assignment,
    links: Links,
) -> list[str]:
    weighed: list[tuple[float, str]] = []
    for other, best in enumerate(assignment.best):
        theirs = states[other][best]
        if other == column or not theirs.channel or not state.channel:
            continue
        for relation in relations(state.channel, theirs.channel):
            nats = float(relation_nats(relation, links.pairs)[column, other])
            if relation.says and abs(nats) >= _WORTH_BESIDE:
                phrase = relation.says.format(other=says_of(theirs))
                weighed.append((nats, f"it {phrase}" if nats > 0.0 else f"but too seldom {phrase}"))
    weighed.sort(key=lambda one: -abs(one[0]))
    # Of two columns with the same meaning the same is said once.
    return list(dict.fromkeys(phrase for _, phrase in weighed))[:_MOST_PAIRS]
