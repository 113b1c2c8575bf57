"""The best meaning of all columns together, and how sure each is.

A beam search over the columns, the most decided first: a partial assignment carries the sum of
what speaks for its states and of how they stand to each other. The certainty of a column's meaning
is the share of weight of all assignments kept that agree on it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from analysis.meaning.balance import Balance
from analysis.meaning.gaps import Gaps, gap_nats
from analysis.meaning.pairs import Pairs, relation_nats, relations
from analysis.meaning.states import State
from analysis.record import Floats

_BEAM = 400
# A second column of the same channel is rare; engineering judgement [nats].
_TWICE, _TWICE_NAMED = -7.0, -0.7
# Signs are not independent: what they say together is less than their sum. Set so that stated
# certainties come true (`tests.bench.meaning`).
_SHARPNESS = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Assignment:
    """The best states and the weight of each state.

    Attributes
    ----------
    best : index of the state of each column in the best assignment
    shares : for each column the certainty of each of its states, 0 to 1
    evidence : logarithm of the weight of all assignments kept [nats]
    """

    best: tuple[int, ...]
    shares: tuple[Floats, ...]
    evidence: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Links:
    """How columns hang together.

    Attributes
    ----------
    pairs : how they stand to each other
    gaps : by how much temperatures differ and how they move together
    named : for each column the channel that its header names, else None
    balance : what heat says of units, once the loop's pipes are known
    """

    pairs: Pairs
    gaps: Gaps
    named: Sequence[str | None]
    balance: Balance | None = None
    _known: dict[tuple[str, str], Floats | None] = field(default_factory=dict)

    def beside(self, one: str, other: str) -> Floats | None:
        """Say how columns stand to each other as these channels, the row being `one` [nats]."""
        if (one, other) not in self._known:
            there = [relation_nats(relation, self.pairs) for relation in relations(one, other)]
            back = [relation_nats(relation, self.pairs).T for relation in relations(other, one)]
            apart = gap_nats(one, other, self.gaps)
            found = [*there, *back]
            if apart is not None:
                found.append(self.pairs.trust_frac * apart)
            both = np.asarray(sum(found)) if found else None
            self._known[one, other] = both
            self._known[other, one] = None if both is None else both.T
        return self._known[one, other]


def assign(states: Sequence[Sequence[State]], links: Links) -> Assignment:
    """Find what the columns are together.

    Parameters
    ----------
    states : for each column what it may be
    links : how columns hang together

    Returns
    -------
    Assignment
        Best states and certainties.
    """
    count = len(states)
    order = sorted(range(count), key=lambda column: -_margin(states[column]))
    chosen = np.zeros((1, count), dtype=np.int64)
    nats = np.zeros(1)
    for step, column in enumerate(order):
        here = states[column]
        gain = np.tile(
            np.array([_alone(links, column, state, here) for state in here]), (len(nats), 1)
        )
        for before in order[:step]:
            table = _table(states, links, column, before)
            if table is not None:
                gain += table[:, chosen[:, before]].T
        total = nats[:, None] + gain
        keep = np.argsort(-total, axis=None, kind="stable")[:_BEAM]
        rows, options = np.unravel_index(keep, total.shape)
        chosen = chosen[rows].copy()
        chosen[:, column] = options
        nats = total[rows, options]
    weight = np.exp(_SHARPNESS * (nats - nats.max()))
    weight /= weight.sum()
    return Assignment(
        best=tuple(int(option) for option in chosen[0]),
        shares=tuple(
            # Four hundred weights that sum to one may do so but for the last digit.
            np.minimum(
                np.bincount(chosen[:, column], weights=weight, minlength=len(states[column])), 1.0
            )
            for column in range(count)
        ),
        evidence=float(nats.max() + np.log(np.exp(nats - nats.max()).sum())),
    )


def _margin(states: Sequence[State]) -> float:
    return states[0].nats - states[1].nats if len(states) > 1 else np.inf


def _alone(links: Links, column: int, state: State, here: Sequence[State]) -> float:
    if links.balance is None:
        return state.nats
    more = links.balance.alone(column, state)
    if state.channel == "heat_register":
        # A counter may count other heat too: of it the sun tells the unit, not what it is.
        more -= max(
            links.balance.alone(column, one) for one in here if one.channel == state.channel
        )
    return state.nats + more


def _table(
    states: Sequence[Sequence[State]], links: Links, column: int, before: int
) -> Floats | None:
    """Give what each pair of states of two columns adds [nats]; None where nothing does."""
    table = np.zeros((len(states[column]), len(states[before])))
    for one, mine in enumerate(states[column]):
        for other, theirs in enumerate(states[before]):
            table[one, other] = between(mine, theirs, links, column, before)
    return table if table.any() else None


def between(mine: State, theirs: State, links: Links, column: int, before: int) -> float:
    """Say how two columns with two states stand to each other [nats]."""
    if not mine.channel or not theirs.channel:
        return 0.0
    if mine.channel == theirs.channel:
        both = links.named[column] == links.named[before] == mine.channel
        return _TWICE_NAMED if both else _TWICE
    table = links.beside(mine.channel, theirs.channel)
    nats = 0.0 if table is None else float(table[column, before])
    if links.balance is None:
        return nats
    return (
        nats
        + links.balance.both(column, mine, before, theirs)
        + links.balance.both(before, theirs, column, mine)
    )
