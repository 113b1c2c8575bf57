"""Temperatures in tenths of a degree under a head that says degrees: 653 for 65.3 °C.

Such a head knows its column by itself, so nothing else looks at its values. Most of a winter's
tenths are possible as degrees: taken so they would be wrong without a word.
"""

import numpy as np
from numpy.typing import NDArray

from analysis.logs.asking import Proposal
from analysis.logs.conversions import Unit
from analysis.logs.layout import Column
from analysis.logs.onefile import RowsRead
from analysis.logs.planning import FilePlan
from analysis.logs.reopened import OtherUnit, reopened

# An open sensor repeats its value (engineering judgement).
_FEWEST_VALUES, _FEWEST_FRAC = 20, 0.02
# Most columns of degrees show a decimal in their first rows.
_LOOKED_AT = 1000
_TENTHS = OtherUnit(
    unit="0.1 C",
    choices=("0.1c", "c"),
    why="its whole numbers are too high for the degrees that its head speaks of, not for tenths",
)


def asked_for_tenths(plan: FilePlan, rows: RowsRead) -> tuple[FilePlan, tuple[Proposal, ...]]:
    """Leave columns open whose values are beyond their channel, and within it as tenths.

    Parameters
    ----------
    plan : FilePlan
        How the file was read; of a long table the wide one.
    rows : RowsRead
        A column of values for each of the layout's columns, in their order.

    Returns
    -------
    tuple
        The plan with those columns read without a meaning, and what is asked of them.
    """
    return reopened(
        plan,
        {
            column.place: _TENTHS
            for column, held in zip(plan.layout.columns, rows.values, strict=True)
            if _in_tenths(column, held)
        },
    )


def _in_tenths(column: Column, held: NDArray[np.float64]) -> bool:
    known = column.channel
    if known is None or known.quantity != "temperature" or column.source != "header":
        return False
    if column.unit != Unit() or not _whole(held[:_LOOKED_AT]) or not _whole(held):
        return False
    values = held[np.isfinite(held)]
    beyond = values[(values < known.lowest) | (values > known.highest)]
    tenths = values / 10.0
    return (
        len(values) > 0
        and len(beyond) >= _FEWEST_FRAC * len(values)
        and len(np.unique(beyond)) >= _FEWEST_VALUES
        and bool(((tenths >= known.lowest) & (tenths <= known.highest)).all())
    )


def _whole(held: NDArray[np.float64]) -> bool:
    """Tell whether all numbers are whole; what is missing, or a word for on, is none."""
    return bool(((held == np.round(held)) | ~np.isfinite(held)).all())
