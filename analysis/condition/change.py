"""The search for the day on which the collector changed, and what is known of the change."""

from dataclasses import dataclass

import numpy as np

from analysis.condition.number import Number, number_of
from analysis.condition.regression import Fit, Rows, Scan, Step, first_look, fit_with_step, scan
from analysis.record import Floats
from analysis.site import Site

# Onsets less likely than this against the likeliest are left out of the range of dates, and of
# what is averaged (a log-likelihood: 95 % of a curve like a normal one lie within 1.92).
_LIKELY = 3.0
_AVERAGED = 5
# A step needs rows before and after it.
_LEAST_DAYS = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Change:
    """The likeliest step.

    Attributes
    ----------
    fit : everything fitted together with it
    first, last : days of `Rows` between which it lies, 95 %
    number : of tubes lost, None where the site file names no tubes
    """

    fit: Fit
    first: int
    last: int
    number: Number | None

    @property
    def step(self) -> Step:
        """The step itself."""
        assert self.fit.step is not None
        return self.fit.step


def change_of(rows: Rows, site: Site, *, first: int, last: int, settled: bool) -> Change | None:
    """Find the likeliest step from one of the days `first` to `last` (excluded) on.

    Parameters
    ----------
    rows : the sound days and those after the step
    site : tubes and their certified loss
    first, last : days of `rows`
    settled : there is a step; otherwise that there is none is as likely beforehand

    Returns
    -------
    None where there are too few days
    """
    first, last = max(first, _LEAST_DAYS), min(last, len(rows) - _LEAST_DAYS + 1)
    if last <= first:
        return None
    fit = first_look(rows)
    for _ in range(2):
        seen = scan(rows, fit)
        onset = first + int(np.argmax(_downward(seen)[first:last]))
        fit = fit_with_step(rows, onset, start=fit)
    seen = scan(rows, fit)
    gain = _downward(seen)[first:last]
    onset = first + int(np.argmax(gain))
    if fit.step is not None and onset != fit.step.onset:
        fit = fit_with_step(rows, onset, start=fit)
    likely = first + np.flatnonzero(gain >= gain.max() - _LIKELY)
    number = None
    if site.tubes:
        number = _number(rows, site, fit, seen, range(first, last), likely.tolist(), settled)
    return Change(fit=fit, first=int(likely[0]), last=int(likely[-1]), number=number)


def share_lost(rows: Rows, fit: Fit) -> tuple[float, float]:
    """Give the share of the sound output that the days after a step went without, and its u."""
    assert fit.step is not None
    after = slice(int(rows.day_first[fit.step.onset]), None)
    gain = rows.days.gain_kwh[after] * fit.weights[after]
    known = np.column_stack([rows.physics, rows.slow])[after]
    sound = float((known @ fit.parameters) @ gain)
    parts = np.array([1.0, float(rows.heat_loss[after] @ gain) / sound])
    u = float(np.sqrt(parts @ fit.step.covariance @ parts))
    return 1.0 - float(rows.out[after] @ gain) / sound, u


def _downward(seen: Scan) -> Floats:
    """Give the gain of steps that cost output; one that adds any explains nothing here."""
    return np.where(seen.change.max(axis=1) > 0.0, seen.gain, 0.0)


def _number(
    rows: Rows,
    site: Site,
    fit: Fit,
    seen: Scan,
    tried: range,
    likely: list[int],
    settled: bool,
) -> Number:
    a1 = sum(array.a1_w_m2k * array.area_m2 for array in site.arrays) / site.area_m2
    if not settled:
        which = np.array(tried)
        return number_of(
            change=seen.change[which],
            covariance=seen.covariance[which],
            weight=seen.weight[which],
            tubes=int(site.tubes or 0),
            a1_w_m2k=a1,
            none_weight=float(np.log(len(which))),
        )
    best = sorted(likely, key=lambda day: -seen.gain[day])[:_AVERAGED]
    fits = [fit_with_step(rows, day, start=fit) for day in best]
    steps = [item.step for item in fits if item.step is not None]
    return number_of(
        change=np.array([step.change for step in steps]),
        covariance=np.array([step.covariance for step in steps]),
        weight=seen.weight[best],
        tubes=int(site.tubes or 0),
        a1_w_m2k=a1,
        none_weight=-np.inf,
    )
