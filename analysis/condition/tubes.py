"""What is known of the tubes: the step measured, its kind, its witness, and the number lost."""

from dataclasses import dataclass

import numpy as np

from analysis.bounded import Bounded
from analysis.condition.change import Change, change_of, share_lost
from analysis.condition.number import LOSS_WITHOUT_VACUUM_W_M2K, Number
from analysis.condition.regression import Rows, rows_of
from analysis.condition.steady import SteadyDays, steady_rows
from analysis.condition.trend import trend_of
from analysis.condition.witness import flow_witness
from analysis.condition_results import ChangeKind, CollectorChange, Detectable
from analysis.days import DayTable
from analysis.record import Bools
from analysis.site import Site
from analysis.uncertainty import COVERAGE_95

_LEAST_ROWS = 12
# From so many sigmas on a step is like no number of tubes of either kind (engineering judgement).
_UNLIKE_SIGMAS = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TubesState:
    """The collector as it is by now; None where it cannot be told."""

    lost: Bounded | None
    change: CollectorChange | None
    detectable: Detectable | None
    trend_percent_a: Bounded | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measured:
    """A step with everything that is known of it.

    Attributes
    ----------
    change : as the report gives it
    place : row in the table of days of its first day
    share, u_share : of the output lost, and its standard uncertainty
    lost : tubes, None where no number can be given
    trend_percent_a : slow change beside the step
    """

    change: CollectorChange
    place: int
    share: float
    u_share: float
    lost: Bounded | None
    trend_percent_a: Bounded | None


def measured_step(
    table: DayTable,
    site: Site,
    *,
    used: Bools,
    first: int,
    last: int,
    drift: float,
    plain: tuple[float, float],
) -> Measured | None:
    """Measure a step that is known to be there.

    Parameters
    ----------
    table, site : the days and the facts
    used : shape (days,), the sound days and those after the step
    first, last : rows of the table between which the step is looked for (last excluded)
    drift : what the output does besides, standard deviation [share]
    plain : share of the output lost and its standard uncertainty as whole days show it, for a step
        that is like nothing known
    """
    rows = _rows(table, site, used, drift)
    if rows is None:
        return None
    span = np.searchsorted(rows.days.place[rows.day_first], [first, last])
    change = change_of(rows, site, first=int(span[0]), last=int(span[1]), settled=True)
    if change is None:
        return None
    share, u_share = share_lost(rows, change.fit)
    place = rows.place(change.step.onset)
    kind = _kind(change, rows.days, place, share, u_share)
    if kind == "unlike":
        share, u_share = plain
    dates = table.days.dates
    # The step lies after the last day before it.
    earliest = rows.place(max(change.first - 1, 0))
    return Measured(
        change=CollectorChange(
            kind=kind,
            date=dates[place],
            earliest=dates[min(earliest + 1, place)],
            latest=dates[rows.place(change.last)],
            output_less_percent=Bounded(
                value=100.0 * share,
                low=100.0 * (share - COVERAGE_95 * u_share),
                high=100.0 * (share + COVERAGE_95 * u_share),
            ),
        ),
        place=place,
        share=share,
        u_share=u_share,
        lost=_lost(change.number, kind),
        trend_percent_a=trend_of(rows, change.fit, table),
    )


def unseen_loss(
    table: DayTable, site: Site, *, used: Bools, first: int, drift: float
) -> tuple[Bounded | None, Bounded | None]:
    """Give the tubes that may be lost although no drop was found, and the slow change.

    Parameters
    ----------
    table, site, used, drift : as in `measured_step`
    first : row of the table from which a loss is looked for
    """
    rows = _rows(table, site, used, drift)
    if rows is None:
        return None, None
    begin = int(np.searchsorted(rows.days.place[rows.day_first], first))
    change = change_of(rows, site, first=begin, last=len(rows), settled=False)
    if change is None:
        return None, None
    lost = None
    if change.number is not None:
        # What is not found is not claimed: that none is lost stays within the range, and so does
        # what may be lost if any is, however unlikely that.
        number = change.number
        most = max(number.high, number.if_any.high)
        lost = Bounded(value=float(number.likeliest), low=0.0, high=float(most))
    return lost, trend_of(rows, change.fit, table)


def detectable(
    days: SteadyDays, site: Site, *, least_drop: float, steady_days: int
) -> Detectable | None:
    """Turn the least drop of the output that would show into tubes of either kind.

    Parameters
    ----------
    days : steady days, those after a found step left out
    site : tubes and their certified loss
    least_drop : share of the output
    steady_days : how many sunny days that takes
    """
    tubes, out = site.tubes, float(days.out_kwh.sum())
    if not tubes or out <= 0.0:
        return None
    a1 = sum(array.a1_w_m2k * array.area_m2 for array in site.arrays) / site.area_m2
    extra_w_k = (LOSS_WITHOUT_VACUUM_W_M2K - a1) * site.area_m2 / tubes
    each = extra_w_k * float(days.excess_kh.sum()) / 1000.0 / out
    missing = int(np.ceil(least_drop * tubes))
    without = int(np.ceil(least_drop / each)) if each > 0.0 else tubes + 1
    return Detectable(
        missing=missing if missing <= tubes else None,
        without_vacuum=without if without <= tubes else None,
        steady_days=steady_days,
    )


def _rows(table: DayTable, site: Site, used: Bools, drift: float) -> Rows | None:
    days = steady_rows(table)
    days = days.picked(used[days.place])
    return rows_of(days, table, site, drift=drift) if len(days.place) >= _LEAST_ROWS else None


def _kind(change: Change, days: SteadyDays, place: int, share: float, u_share: float) -> ChangeKind:
    """Say what the step is: a witness of the flow is asked unless the loss grew with heat."""
    # A drop of whole days that hours alike in sun and heat deny is not of the tubes' making either.
    denied = share <= 0.0
    if denied or (change.number is not None and change.number.misfit > _UNLIKE_SIGMAS):
        return "unlike"
    seen = None if change.number is None else change.number.kind
    if seen == "vacuum":
        return "vacuum"
    witness = flow_witness(days, onset_place=place)
    after = days.place >= place
    metered = float(days.heat_kwh[after].sum() / days.out_kwh[after].sum())
    blame = "open" if witness is None else witness.blames(share, u_share, metered_frac=metered)
    if blame == "open":
        return "tubes_or_flow_reading"
    if blame == "flow_reading":
        return "flow_reading"
    return seen or "optical_or_vacuum"


def _lost(number: Number | None, kind: ChangeKind) -> Bounded | None:
    if number is None or kind in ("tubes_or_flow_reading", "flow_reading", "unlike"):
        return None
    if kind in ("optical", "vacuum"):
        number = number.of_kind(kind)
    return Bounded(value=float(number.likeliest), low=float(number.low), high=float(number.high))
