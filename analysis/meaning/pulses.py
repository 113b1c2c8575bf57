"""Columns that count pulses: words say of what, falling says since when, the unit says how much."""

from collections.abc import Mapping

import numpy as np

from analysis.channels import BASE_CHANNELS
from analysis.logs.asking import Choice, OpenColumn, Proposal, Question
from analysis.logs.conversions import folded_unit, pulse_units, unit_named
from analysis.logs.pulses import PULSE_WORD, pulse_size
from analysis.meaning.looks import Moves, counts_up
from analysis.meaning.questions import column_question
from analysis.meaning.unit_words import find_unit
from analysis.meaning.words import folded, read_header
from analysis.site import ColumnMeaning

_HEAT, _VOLUME = frozenset({"energy", "heat", "power"}), frozenset({"rate", "flow", "volume"})
# By what is counted: the channel of counts that go on, and that of counts of each interval.
_CHANNELS = {"volume": ("flow_volume", "flow"), "energy": ("heat_register", "heat_power")}
# The same where each row stands for a day; a day's volume alone tells no heat.
_OF_DAYS = {"volume": ("flow_volume",), "energy": ("heat_register", "day_heat")}
# Whether counts go on is told by so many moves.
_FEWEST_MOVES = 5
_SURE, _UNSURE = 0.97, 0.5


def counts_pulses(column: OpenColumn) -> bool:
    """Tell whether a header or its unit speaks of pulses."""
    if column.known is not None:
        return False
    text = folded(f"{column.head} {column.unit_head}").replace("_", " ")
    unit = find_unit(column.head, unit_head=column.unit_head)
    return bool(PULSE_WORD.search(text)) and "temperature" not in unit.quantities


def propose_pulses(
    column: OpenColumn, *, keys: Mapping[int, str], file: str, daily: bool
) -> Proposal:
    """Say what a column of pulses probably holds; the size of a pulse is asked where it is open.

    Parameters
    ----------
    column : OpenColumn
        A column for which `counts_pulses`.
    keys : mapping
        Place of a column to what names it in `[log.columns]`.
    file : str
        Name for questions.
    daily : bool
        Whether each row stands for a whole day.
    """
    channels = _OF_DAYS if daily else _CHANNELS
    key = keys[column.place]
    unit = _unit_of(column)
    kind = _kind_of(column, unit)
    moves = counts_up(column.values)
    goes_on = not moves.falls
    fits = () if kind is None else channels[kind]
    told = moves.rises >= _FEWEST_MOVES and (goes_on or len(fits) > 1)
    if kind is None or not told:
        shares = {name: 0.2 for names in channels.values() for name in names}
        why = "it counts pulses, and nothing tells of what"
        if kind is not None:
            shares = dict.fromkeys(fits, 0.45)
            why = "it counts pulses, and the rows do not tell whether it starts anew in each"
        question = column_question(shares, key, file, why=f"{why}; say how much one is as its unit")
        return _open(column, question)
    channel = fits[0 if goes_on else 1]
    reasons = _reasons(column, channel, moves)
    if unit is None:
        return _open(column, _size_question(channel, key, file), reasons=reasons)
    return Proposal(
        place=column.place,
        meaning=ColumnMeaning(channel=channel, unit=unit),
        certainty_frac=_SURE,
        reasons=(*reasons, f"a pulse is {unit.split('/')[0]}"),
    )


def _unit_of(column: OpenColumn) -> str | None:
    """Give the unit of pulses that the header prints, None where it gives none."""
    inside = column.head.replace("(", "[").replace(")", "]").split("[")
    for text in (column.unit_head, *(part.split("]")[0] for part in inside[1:])):
        if pulse_size(folded_unit(text)) is not None:
            return text.strip()
    return None


def _kind_of(column: OpenColumn, unit: str | None) -> str | None:
    if unit is not None:
        return next((kind for kind in _CHANNELS if unit_named(quantity=kind, unit=unit)), None)
    parts = read_header(column.head).parts
    heat, volume = (any(part & words for part in parts) for words in (_HEAT, _VOLUME))
    if heat == volume:
        return None
    return "energy" if heat else "volume"


def _reasons(column: OpenColumn, channel: str, moves: Moves) -> tuple[str, ...]:
    goes_on = (
        "it only ever rises, as a counter does"
        if not moves.falls
        else ("its counts start anew in each row")
    )
    return (f"the header “{column.head}” speaks of pulses: {BASE_CHANNELS[channel].says}", goes_on)


def _open(column: OpenColumn, question: Question, *, reasons: tuple[str, ...] = ()) -> Proposal:
    return Proposal(
        place=column.place,
        meaning=None,
        certainty_frac=_UNSURE,
        reasons=reasons,
        questions=(question,),
    )


def _size_question(channel: str, key: str, file: str) -> Question:
    known = BASE_CHANNELS[channel]
    return Question(
        kind="unit",
        file=file,
        subject=key,
        choices=tuple(
            Choice(value=one, says=one, certainty_frac=float(np.nan))
            for one in pulse_units(known.quantity)
        ),
        why=f"it counts pulses ({known.says}, {channel}), and nothing tells how much one is",
    )
