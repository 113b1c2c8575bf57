"""Columns that their heads name, left open and asked because their values forbid the unit."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from analysis.logs.asking import Proposal
from analysis.logs.conversions import Unit
from analysis.logs.layout import Column, column_key
from analysis.logs.planning import FilePlan
from analysis.site import ColumnMeaning

_ASKED_FRAC = 0.85


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherUnit:
    """The unit that values speak for against their head.

    Attributes
    ----------
    unit : as a map says it
    choices : that unit and the one of the head, as the question offers them
    why : in words, for people
    """

    unit: str
    choices: tuple[str, str]
    why: str


def reopened(
    plan: FilePlan, doubts: Mapping[int, OtherUnit]
) -> tuple[FilePlan, tuple[Proposal, ...]]:
    """Leave columns open whose unit their values forbid.

    Parameters
    ----------
    plan : FilePlan
        How the file was read; of a long table the wide one.
    doubts : mapping
        Place of a column that has a channel to the unit that its values speak for.

    Returns
    -------
    tuple
        The plan with those columns read without a meaning, and what is asked of them.
    """
    if not doubts:
        return plan, ()
    columns = tuple(
        replace(one, channel=None, unit=Unit()) if one.place in doubts else one
        for one in plan.layout.columns
    )
    asked = tuple(
        _proposal(plan, one, doubts[one.place])
        for one in plan.layout.columns
        if one.place in doubts
    )
    return replace(plan, layout=replace(plan.layout, columns=columns)), asked


def _proposal(plan: FilePlan, column: Column, doubt: OtherUnit) -> Proposal:
    from analysis.meaning.questions import unit_question

    assert column.channel is not None
    name = column.channel.name
    likely, printed = doubt.choices
    units: dict[str | None, float] = {likely: _ASKED_FRAC, printed: 1.0 - _ASKED_FRAC}
    question = unit_question(name, units, column_key(plan.dialect, column.place), plan.name)
    return Proposal(
        place=column.place,
        meaning=ColumnMeaning(channel=name, unit=doubt.unit),
        certainty_frac=_ASKED_FRAC,
        reasons=(doubt.why,),
        questions=(replace(question, why=doubt.why),),
    )
