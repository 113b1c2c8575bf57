"""Heads that print a number beside the unit: `[0.1 kWh]`, `(l/min x10)`, `[10 l/h]`.

The values are brought to the unit before anybody looks at what they mean, and the number is put
back into the answer, as a map would say it.
"""

import re
from dataclasses import dataclass, replace

from analysis.logs.asking import Choice, OpenColumn, Proposal, Question
from analysis.logs.conversions import UNITS, folded_unit
from analysis.logs.numbers import is_unit

_BRACKETS = re.compile(r"[\[(]\s*(?P<inside>[^\])]{2,16}?)\s*[\])]")
_BEFORE = re.compile(r"(?P<size>\d{1,4}(?:[.,]\d{1,4})?)\s*[*x×]?\s*(?P<unit>[^\d\s].*)")
_BEHIND = re.compile(r"(?P<unit>.*[^\d\s*x×/])\s*(?P<sign>[*x×/])\s*(?P<size>10{1,3})")
# No longer text is a unit, and none is searched in more than its length.
_LONGEST = 40
# Loose ones, `l/min x10` and `[l/min] x10`; before the unit, `x10 l/min`, it may mean either way.
_LOOSE = re.compile(
    r"(?:[\[(]\s?)?(?P<unit>[^\s\[\]()*x×]{1,16})(?:\s?[\])])?[\s_]{0,3}[*x×]\s?"
    r"(?P<size>10{1,3})(?!\w)",
    re.IGNORECASE,
)
_PART = re.compile(r"(?P<size>[\d.]+) (?P<unit>.+)")
_PULSES = re.compile(r"puls|imp|count|tick|zähl", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scaled:
    """What a head prints: how much of its unit one of the numbers stands for."""

    size: float
    unit: str

    def named(self, unit: str) -> str:
        """Give a unit with its number, as maps write it."""
        part = _PART.fullmatch(unit)
        size, unit = (float(part["size"]), part["unit"]) if part else (1.0, unit)
        return f"{self.size * size:g} {unit}"


def scale_of(column: OpenColumn) -> Scaled | None:
    """Find a number beside the unit of a head; tenths of degrees are known as units themselves."""
    if _PULSES.search(column.head):
        return None
    printed = [match["inside"] for match in _BRACKETS.finditer(column.head)]
    for text in (column.unit_head, *printed):
        if len(text) > _LONGEST:
            continue
        before, behind = _BEFORE.fullmatch(text.strip()), _BEHIND.fullmatch(text.strip())
        match = before or behind
        if match is None or not is_unit(match["unit"]) or is_unit(text):
            continue
        unit = match["unit"].strip()
        alone = {folded_unit(one) for one in (column.unit_head, *printed) if is_unit(one)}
        if alone - {folded_unit(unit)}:
            # `Tank (1000 l) [°C]`: the size of a store beside the unit of the values.
            continue
        if folded_unit(unit) in UNITS["temperature"]:
            continue
        number = float(match["size"].replace(",", "."))
        size = 1.0 / number if match is behind else number
        if size not in (0.0, 1.0):
            return Scaled(size=size, unit=unit)
    loose = _LOOSE.search(column.head)
    if loose is None or not is_unit(loose["unit"]):
        return None
    if folded_unit(loose["unit"]) in UNITS["temperature"]:
        return None
    return Scaled(size=1.0 / float(loose["size"]), unit=loose["unit"])


def in_units(column: OpenColumn, scaled: Scaled) -> OpenColumn:
    """Give the column with its values in the unit alone."""
    head = _BRACKETS.sub(" ", _LOOSE.sub(" ", column.head)).strip()
    return replace(
        column, head=head, unit_head=scaled.unit, values=column.values * scaled.size, known=None
    )


def as_printed(proposal: Proposal, scaled: Scaled) -> Proposal:
    """Give an answer whose units hold for the values as they are written."""
    meaning = proposal.meaning
    if meaning is not None and meaning.unit is not None:
        meaning = replace(meaning, unit=scaled.named(meaning.unit))
    return replace(
        proposal,
        meaning=meaning,
        reasons=(
            *proposal.reasons,
            f"its head says that one stands for {scaled.named(scaled.unit)}",
        ),
        questions=tuple(_asked(one, scaled) for one in proposal.questions),
    )


def _asked(question: Question, scaled: Scaled) -> Question:
    if question.kind != "unit":
        return question
    choices = tuple(
        Choice(
            value=scaled.named(one.value),
            says=scaled.named(one.says),
            certainty_frac=one.certainty_frac,
        )
        for one in question.choices
    )
    return replace(question, choices=choices)
