"""Heat registers whose head prints a unit that flow or sun forbid: tenths under a head of kWh.

Such a head knows its column by itself. Ten times the heat is as smooth as the heat, so only the
loop beside it, or the sun on the collectors, tells.
"""

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from analysis.channels import base_name
from analysis.fluid import W_PER_L_MIN_K
from analysis.logs.asking import Proposal
from analysis.logs.conversions import converted
from analysis.logs.layout import Column
from analysis.logs.onefile import RowsRead
from analysis.logs.planning import FilePlan
from analysis.logs.reopened import OtherUnit, reopened
from analysis.site import Site
from analysis.units import JOULES_PER_KWH, SECONDS_PER_DAY, SECONDS_PER_HOUR

# A row stands for the time to the next, at most this long [s].
_LONGEST_S = SECONDS_PER_HOUR
# Heat that has to flow before it is compared [kWh]; how near a power of ten it has to be, for a
# meter that sticks is off by any factor (engineering judgement).
_LEAST_KWH, _NEAR = 5.0, 0.1
# More than any day's sun on a square metre, which is 8 to 9 kWh on a tilted plane (common
# practice, no source), and on how many days; quarter of the days that must be beyond it.
_MOST_KWH_M2, _FEWEST_DAYS, _PERCENT = 10.0, 4, 75
# Beyond this no number is a reading, and its powers of ten mean nothing [kWh].
_MOST_KWH = 1e10


def asked_for_scale(
    plan: FilePlan, rows: RowsRead, *, site: Site | None
) -> tuple[FilePlan, tuple[Proposal, ...]]:
    """Leave heat registers open whose unit, as head or words say it, means impossible heat.

    Parameters
    ----------
    plan : FilePlan
        How the file was read; of a long table the wide one.
    rows : RowsRead
        A column of values for each of the layout's columns, in their order.
    site : Site or None
        Its collector area bounds what a day can bring.

    Returns
    -------
    tuple
        The plan with those columns read without a meaning, and what is asked of them.
    """
    if not any(_is_register(one) for one in plan.layout.columns):
        return plan, ()
    canonical = {
        one.channel.name: converted(held, one.unit)
        for one, held in zip(plan.layout.columns, rows.values, strict=True)
        if one.channel is not None and not one.unit.counted_s
    }
    flown = _flown_kwh(rows.stamp_s, canonical)
    doubts = {}
    for column in plan.layout.columns:
        if column.channel is not None and _is_register(column):
            times = _times(rows.stamp_s, canonical[column.channel.name], flown, site)
            if times:
                doubts[column.place] = _doubt(column, times)
    return reopened(plan, doubts)


def _is_register(column: Column) -> bool:
    known = column.channel
    return (
        known is not None
        and base_name(known.name) == "heat_register"
        and column.source != "map"
        and not column.unit.counted_s
    )


def _flown_kwh(
    stamp_s: NDArray[np.int64], columns: Mapping[str, NDArray[np.float64]]
) -> NDArray[np.float64] | None:
    """Give the heat that the loop carried from each row to the next [kWh], None without a meter."""
    if not {"flow", "loop_hot", "loop_cold"} <= set(columns) or len(stamp_s) < 2:
        return None
    with np.errstate(over="ignore", invalid="ignore"):
        spread_k = np.maximum(columns["loop_hot"] - columns["loop_cold"], 0.0)
        power_w = W_PER_L_MIN_K * np.maximum(columns["flow"], 0.0) * spread_k
        power_w[~(power_w < _MOST_KWH)] = np.nan
    step_s = np.clip(np.diff(stamp_s), 0.0, _LONGEST_S)
    return np.asarray(power_w[:-1] * step_s / JOULES_PER_KWH)


def _times(
    stamp_s: NDArray[np.int64],
    register_kwh: NDArray[np.float64],
    flown_kwh: NDArray[np.float64] | None,
    site: Site | None,
) -> int:
    """Give by which power of ten a register counts too much (negative: too little), 0 for none."""
    with np.errstate(invalid="ignore"):
        rows = np.flatnonzero(np.abs(register_kwh) < _MOST_KWH)
    if len(rows) < 2:
        return 0
    gained = np.maximum(np.diff(register_kwh[rows]), 0.0)
    if flown_kwh is not None:
        flown = np.concatenate([[0.0], np.cumsum(np.nan_to_num(flown_kwh))])
        beside = np.diff(flown[rows])
        known = np.diff(stamp_s[rows]) <= _LONGEST_S
        total = float(beside[known].sum())
        counted = float(gained[known].sum())
        if total >= _LEAST_KWH and counted > 0.0:
            power = math.log10(counted / total)
            return round(power) if abs(power - round(power)) <= _NEAR else 0
    if site is None:
        return 0
    days, place = np.unique(stamp_s[rows][1:] // int(SECONDS_PER_DAY), return_inverse=True)
    if len(days) < _FEWEST_DAYS:
        return 0
    by_day = np.bincount(place, weights=gained)
    much = float(np.percentile(by_day, _PERCENT)) / (site.area_m2 * _MOST_KWH_M2)
    return math.ceil(math.log10(much)) if much > 1.0 else 0


def _doubt(column: Column, times: int) -> OtherUnit:
    size = f"{10.0**-times:g} {column.unit_says}"
    much = f"{10**times:g} times" if times > 0 else f"1/{10**-times:g} of"
    return OtherUnit(
        unit=size,
        choices=(size, column.unit_says),
        why=f"in {column.unit_says} it would count about {much} the heat that the loop or the sun "
        "can have given; look at the heat meter's own display",
    )
