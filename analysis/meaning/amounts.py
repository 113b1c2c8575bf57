"""Columns that hold the heat or the water of their own step in each row: asked, with the answer.

Such a column is a power or a flow in another dress: 0.25 kWh in ten minutes are 1.5 kW. Whether it
counts by the row, and not by the hour or the day, its head seldom says.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from analysis.channels import BASE_CHANNELS
from analysis.logs.asking import OpenColumn, Proposal
from analysis.logs.conversions import row_units
from analysis.meaning.looks import counts_up
from analysis.meaning.questions import unit_question
from analysis.meaning.unit_words import find_unit

# By what the unit of the head measures: the channel of its rate.
_RATES = {"energy": "heat_power", "volume": "flow"}
# So many moves tell that a column does not only count up.
_FEWEST_MOVES = 5
_ASKED_FRAC = 0.6


def holds_amounts(column: OpenColumn) -> bool:
    """Tell whether a column under a unit of energy or volume rises and falls from row to row."""
    if column.known is not None or _quantity(column) is None:
        return False
    moves = counts_up(column.values)
    known = column.values[np.isfinite(column.values)]
    return moves.falls and moves.rises >= _FEWEST_MOVES and bool((known >= 0.0).all())


def _quantity(column: OpenColumn) -> str | None:
    unit = find_unit(column.head, unit_head=column.unit_head)
    return next((one for one in unit.quantities if one in _RATES), None)


def propose_amounts(column: OpenColumn, *, keys: Mapping[int, str], file: str) -> Proposal:
    """Ask whether a column holds the amount of each step, and name the unit that says so.

    Parameters
    ----------
    column : OpenColumn
        A column for which `holds_amounts`.
    keys : mapping
        Place of a column to what names it in `[log.columns]`.
    file : str
        Name for questions.
    """
    quantity = _quantity(column)
    assert quantity is not None
    name = _RATES[quantity]
    printed = find_unit(column.head, unit_head=column.unit_head).unit
    usual = row_units(BASE_CHANNELS[name].quantity)
    units = [one for one in usual if one.lower().split("/")[0] == printed] or list(usual)
    shares: dict[str | None, float] = dict.fromkeys(units, _ASKED_FRAC / len(units))
    why = (
        "it rises and falls, so it is no counter; where each row holds what its own step brought, "
        f"it is the {BASE_CHANNELS[name].says} ({name}) in {units[0]}"
    )
    question = replace(unit_question(name, shares, keys[column.place], file), why=why)
    return Proposal(
        place=column.place,
        meaning=None,
        certainty_frac=_ASKED_FRAC,
        reasons=(why,),
        questions=(question,),
    )
