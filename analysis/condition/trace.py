"""Following the days: whether the output of late lies below the plant's own sound output.

A plain regression of whole days, cheap enough to be asked on every day: output from gain, loss and
what the sensors read wrong, with a step among the last days. On sound months its parameters absorb
the constant errors of the sensors; what drops afterwards is the collector. What the drop is made of
is asked once, of the finer `regression`.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from analysis.compiled import given
from analysis.condition.regression import physics_of, prior_of, rolling_median
from analysis.condition.steady import SteadyDays
from analysis.condition.trace_kernel import follow_steps
from analysis.quantiles import median_of
from analysis.record import Floats, Ints
from analysis.site import Site

_LEAST_SCATTER = 0.008
_NEIGHBOURS = 11


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drop:
    """A lasting step in the output, in shares of the sound output.

    `onset` is the first steady day after it, `seen` one past the day on which it was certain;
    `sound` are the parameters of the plant before it.
    """

    onset: int
    seen: int
    frac: float
    u_frac: float
    sound: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Steps:
    """The likeliest step as each of k days showed it; arrays of shape (k, ...) as in `Drop`."""

    onset: Ints
    seen: Ints
    frac: Floats
    u_frac: Floats
    sound: Floats

    def drop(self, number: int) -> Drop:
        """Give one of them."""
        return Drop(
            onset=int(self.onset[number]),
            seen=int(self.seen[number]),
            frac=float(self.frac[number]),
            u_frac=float(self.u_frac[number]),
            sound=self.sound[number],
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """Steady days as shares of their own optical gain, outlying days left aside.

    `rows` are the regressors, shape (n, 5), `out` the output; `scatter` the standard deviation
    from day to day, worked out from neighbours so that slow change does not count; `prior` and
    `prior_u` what is known of the parameters beforehand.
    """

    days: SteadyDays
    rows: Floats
    out: Floats
    scatter: float
    prior: Floats
    prior_u: Floats

    def without(self, first: int, last: int) -> "Trace":
        """Give the trace without days `first` to `last` (excluded)."""
        kept = np.delete(np.arange(len(self.out)), slice(first, last))
        return replace(self, days=self.days.picked(kept), rows=self.rows[kept], out=self.out[kept])

    def drop(self, sound: Floats, first: int, last: int) -> float:
        """Give how far days lie below what the sound plant would have given."""
        predicted = (self.rows[first:last] @ sound) * self.days.gain_kwh[first:last]
        out = self.out[first:last] * self.days.gain_kwh[first:last]
        return 1.0 - float(out.sum() / predicted.sum())

    def drops(self, sound: Floats, width: int) -> Floats:
        """Give the same of so many days from each on, as long as there are so many."""
        predicted = (self.rows @ sound) * self.days.gain_kwh
        out = self.out * self.days.gain_kwh
        return np.asarray(1.0 - _over(out, width) / _over(predicted, width))

    def latest_step(self, last: int, *, reach: int, least: int) -> Drop:
        """Give the likeliest step as the days up to `last` (excluded) show it, as in `steps`."""
        return self.steps(np.array([last]), reach=reach, least=least).drop(0)

    def steps(self, last: Ints, *, reach: int, least: int) -> Steps:
        """Give the likeliest step among the last `reach` days before each of some days.

        The parameters are fitted to all days before it together with the step, so a season that
        the test report describes badly is not taken for one. The sums grow from day to day, so one
        pass serves all.

        Parameters
        ----------
        last : shape (k,), of each the first day that is not known yet; at least twice `least`
        reach, least : so many days lie after a step at most, and before and after it at least
        """
        count = self.rows.shape[1]
        seen = Steps(
            onset=np.empty(len(last), dtype=np.int64),
            seen=last,
            frac=np.empty(len(last)),
            u_frac=np.empty(len(last)),
            sound=np.empty((len(last), count)),
        )
        follow_steps(
            given(self.rows),
            given(self.out),
            self.scatter,
            given(self.prior),
            given(self.prior_u**-2.0),
            given(last),
            reach,
            least,
            np.empty((2, count, count)),
            np.empty((5, count)),
            seen.onset,
            seen.frac,
            seen.u_frac,
            seen.sound,
        )
        return seen


def _over(values: Floats, width: int) -> Floats:
    """Give the sum of so many values from each on."""
    return np.asarray(sliding_window_view(values, width).sum(axis=1))


def trace_of(days: SteadyDays, site: Site) -> Trace:
    """Prepare steady days for fitting; days far off their neighbours are left aside."""
    prior, prior_u = prior_of(site)
    rows, out = physics_of(days), days.out_kwh / np.maximum(days.gain_kwh, 1e-9)
    off = out - rows @ prior
    off = off - rolling_median(off, _NEIGHBOURS)
    scatter = max(1.4826 * median_of(np.abs(off)) if len(off) else 0.0, _LEAST_SCATTER)
    kept = np.abs(off) <= 4.0 * scatter
    return Trace(
        days=days.picked(kept),
        rows=rows[kept],
        out=out[kept],
        scatter=scatter,
        prior=prior,
        prior_u=prior_u,
    )
