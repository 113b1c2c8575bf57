"""What was found under one unit of temperature, stated: how sure, why, and what is asked."""

from collections.abc import Mapping, Sequence

import numpy as np

from analysis.channels import BASE_CHANNELS, channel
from analysis.logs.asking import SURE_FRAC, OpenColumn, Proposal, Question
from analysis.meaning.assign import Assignment, Links
from analysis.meaning.degrees import HOW_COMMON
from analysis.meaning.doubts import INVERTED, Doubt, doubt_of, doubt_of_scale
from analysis.meaning.questions import ASKED_FRAC, MOST_CHOICES, column_question, unit_question
from analysis.meaning.reasons import reasons_for
from analysis.meaning.states import Header, State, printed_unit
from analysis.site import ColumnMeaning

_SUREST_NONE, _SUREST_COUNTER = 0.85, 0.85
# By what the odds are divided where no word supports them (`tests.bench.meaning`).
_VALUES_ALONE = 2.4
# Where the header says one thing and the values another, a person is asked.
_SUREST_AGAINST_WORDS, WORDS_AGAINST = 0.85, 2.5
# Where physics leaves open what the header seems to say, a person is asked.
_SUREST_DOUBTED = 0.85


class Found:
    """What was found under one unit of temperature."""

    def __init__(
        self,
        states: list[tuple[State, ...]],
        assignment: Assignment,
        links: Links,
        temperature: str,
        heads: tuple[str, ...],
    ) -> None:
        self.states, self.assignment, self.links = states, assignment, links
        self.heads = heads
        self.temperature = temperature
        self.evidence = assignment.evidence + HOW_COMMON[temperature]

    def proposals(
        self,
        columns: Sequence[OpenColumn],
        headers: Sequence[Header],
        *,
        keys: Mapping[int, str],
        file: str,
        degrees: Mapping[str, float],
    ) -> tuple[Proposal, ...]:
        """Give a proposal for each column; `degrees` says how likely each unit of warmth is."""
        names = self._numbered(headers)
        return tuple(
            self._proposal(number, columns, headers, names, keys, file, degrees)
            for number in range(len(columns))
        )

    def _numbered(self, headers: Sequence[Header]) -> list[str]:
        """Number columns of the same channel: as their headers do, else in their order."""
        best = [
            self.states[number][option].channel
            for number, option in enumerate(self.assignment.best)
        ]
        names = list(best)
        for name in set(best) - {""}:
            same = [number for number, one in enumerate(best) if one == name]
            # Without numbers in their headers the surest comes first: one that will be asked takes
            # no name from one that is sure.
            same.sort(key=lambda number: (headers[number].words.number or 0, self._unsure(number)))
            for count, number in enumerate(same[1:9], start=2):
                names[number] = f"{name}_{count}"
            for number in same[9:]:
                names[number] = ""
        return names

    def _unsure(self, number: int) -> bool:
        return float(self.assignment.shares[number].max()) < SURE_FRAC

    def _proposal(
        self,
        number: int,
        columns: Sequence[OpenColumn],
        headers: Sequence[Header],
        names: Sequence[str],
        keys: Mapping[int, str],
        file: str,
        degrees: Mapping[str, float],
    ) -> Proposal:
        column, states = columns[number], self.states[number]
        shares = self.assignment.shares[number]
        best = states[int(np.argmax(shares))]
        # The best of all together and the likeliest of this one may differ: then nothing is sure.
        certainty = float(shares.max())
        name = names[number] if names[number].startswith(best.channel) else best.channel
        known = column.known.channel if column.known is not None else None
        quantity = BASE_CHANNELS[best.channel].quantity if best.channel else ""
        unsaid = known is None and not headers[number].scores.nats.get(best.channel)
        if best.channel and unsaid and BASE_CHANNELS[best.channel].counter:
            # What a counter counts, and in which unit, its values alone never tell for certain.
            certainty = min(certainty, _SUREST_COUNTER)
        if best.channel and unsaid:
            # Values alone have been surer than they should be: their odds count for less.
            certainty /= certainty + _VALUES_ALONE * (1.0 - certainty)
        if _contradicted(headers[number], best):
            certainty = min(certainty, _SUREST_AGAINST_WORDS)
        doubt = doubt_of(
            number,
            best,
            headers=headers,
            known=column.known,
            states=self.states,
            assignment=self.assignment,
            links=self.links,
        ) or doubt_of_scale(column, best, unit=headers[number].unit.unit)
        if doubt:
            certainty = min(certainty, _SUREST_DOUBTED)
        heat = "energy" in headers[number].unit.quantities
        if not best.channel and (heat or headers[number].scores.none <= 0.0):
            # That a column is nothing we know is never certain from its values alone, and a figure
            # of energy, such as that of the day, is worth a question.
            certainty = min(certainty, _SUREST_NONE)
        if quantity == "temperature" and not headers[number].unit.unit:
            certainty *= degrees[self.temperature]
        reasons = reasons_for(
            number,
            best,
            head=column.head,
            headers=headers,
            states=self.states,
            assignment=self.assignment,
            links=self.links,
        )
        if doubt:
            reasons = (*reasons, doubt.reason(best))
        meaning = None
        if best.channel and channel(known or name) is not None:
            unit = printed_unit(best.channel, best.unit) or None
            meaning = ColumnMeaning(channel=known or name, unit=unit)
        questions: tuple[Question, ...] = ()
        if certainty < SURE_FRAC:
            said = _contradicted(headers[number], best)
            questions = self._questions(
                number, keys[column.place], best, file, degrees, doubt, said=said
            )
        return Proposal(
            place=column.place,
            meaning=meaning,
            certainty_frac=certainty,
            reasons=reasons,
            questions=questions,
        )

    def _questions(
        self,
        number: int,
        subject: str,
        best: State,
        file: str,
        degrees: Mapping[str, float],
        doubt: Doubt,
        *,
        said: str,
    ) -> tuple[Question, ...]:
        states, shares = self.states[number], self.assignment.shares[number]
        by_channel: dict[str, float] = {}
        for state, share in zip(states, shares.tolist(), strict=True):
            by_channel[state.channel] = by_channel.get(state.channel, 0.0) + share
        told, seen = (best.channel, doubt.channel) if doubt.channel else (said, best.channel)
        if told and seen:
            shared = {name: _SUREST_DOUBTED * share for name, share in by_channel.items()}
            other = doubt.channel or said
            shared[other] = shared.get(other, 0.0) + 1.0 - _SUREST_DOUBTED
            why = (
                f"its header says {BASE_CHANNELS[told].says}, "
                f"its values are those of the {BASE_CHANNELS[seen].says}"
            )
            return (column_question(shared, subject, file, why=why),)
        if doubt.inverted or doubt.scale:
            return (column_question(by_channel, subject, file, why=doubt.scale or INVERTED),)
        ranked = sorted(by_channel.items(), key=lambda one: -one[1])[:MOST_CHOICES]
        units = self._units(number, best, degrees) if best.channel else {}
        for unit in doubt.units:
            units[unit] = max(units.get(unit, 0.0), 1.0 - _SUREST_DOUBTED)
        # A printed unit that heat forbids pulls the channel down with it; the head names it still.
        named = by_channel[best.channel] >= SURE_FRAC or doubt.against
        if len(units) > 1 and named:
            total = sum(units.values())
            units = {unit: share / total for unit, share in units.items()}
            return (unit_question(best.channel, units, subject, file, against=doubt.against),)
        real = [BASE_CHANNELS[name].says for name, share in ranked if name and share >= ASKED_FRAC]
        what = "its header and its values" if self.heads[number] else "its values"
        fits = f"fit {', or '.join(real[:3])}" if len(real) > 1 else "do not say enough"
        return (column_question(by_channel, subject, file, why=f"{what} {fits}"),)

    def _units(
        self, number: int, best: State, degrees: Mapping[str, float]
    ) -> dict[str | None, float]:
        """Give the units that the likeliest channel may be in, with their shares."""
        if BASE_CHANNELS[best.channel].quantity == "temperature":
            return {unit: share for unit, share in degrees.items() if share >= ASKED_FRAC / 4}
        shares = self.assignment.shares[number].tolist()
        return {
            state.unit: share
            for state, share in zip(self.states[number], shares, strict=True)
            if state.channel == best.channel and share >= ASKED_FRAC / 4
        }


def _contradicted(header: Header, best: State) -> str:
    """Give the channel that the header names where that is clearly another one, else ""."""
    nats = header.scores.nats
    said = max(nats, key=lambda name: nats[name], default="")
    lead = nats.get(said, 0.0) - nats.get(best.channel, 0.0)
    return said if lead >= WORDS_AGAINST else ""
