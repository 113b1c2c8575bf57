"""Heads that print a unit which the heat forbids: the other units are let in, at long odds."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from analysis.meaning.assign import Assignment
from analysis.meaning.balance import APART, TOGETHER, Balance
from analysis.meaning.states import Header, State

# How rare a head is that prints the wrong unit; engineering judgement [nats].
_MISPRINTED = math.log(0.003)
_HEAT = ("flow", "heat_power", "heat_register")


def with_other_units(
    states: Sequence[tuple[State, ...]],
    first: Assignment,
    headers: Sequence[Header],
    balance: Balance,
    *,
    unprinted: Callable[[int, str], tuple[State, ...]],
) -> list[tuple[State, ...]]:
    """Give what each column may be, other units too where the printed one means absurd heat.

    Parameters
    ----------
    states : for each column what it may be
    first : what the columns are as far as words and shapes tell
    headers : their headers
    balance : what heat says of units
    unprinted : column and channel to what it may be where its head printed no unit
    """
    best = [own[option] for own, option in zip(states, first.best, strict=True)]
    return [
        (*own, *_others(column, own, best, balance, unprinted))
        if _printed(headers[column])
        else own
        for column, own in enumerate(states)
    ]


def _printed(header: Header) -> bool:
    return bool(set(header.unit.quantities) & {"flow", "power", "energy"})


def _others(
    column: int,
    own: Sequence[State],
    best: Sequence[State],
    balance: Balance,
    unprinted: Callable[[int, str], tuple[State, ...]],
) -> list[State]:
    return [
        replace(other, nats=other.nats + _MISPRINTED)
        for state in own
        if state.channel in _HEAT and _forbidden(column, state, best, balance)
        for other in unprinted(column, state.channel)
        if other.unit != state.unit and _possible(column, other, best, balance)
    ]


def _forbidden(column: int, state: State, best: Sequence[State], balance: Balance) -> bool:
    apart = _apart(column, state, best, balance)
    return balance.absurd(column, state) or any(abs(off) > APART for off in apart)


def _possible(column: int, state: State, best: Sequence[State], balance: Balance) -> bool:
    apart = _apart(column, state, best, balance)
    return balance.fits(column, state) and (not apart or min(abs(off) for off in apart) < TOGETHER)


def _apart(column: int, state: State, best: Sequence[State], balance: Balance) -> list[float]:
    """Give by how much other columns differ from this one about the heat, where they tell."""
    found: list[float] = []
    for other, theirs in enumerate(best):
        if other != column:
            found.append(balance.apart(column, state, other, theirs))
            found.append(balance.apart(other, theirs, column, state))
    return [off for off in found if not math.isnan(off)]
