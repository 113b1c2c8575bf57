"""Following the days: whether the output of late lies below the plant's own sound output.

A plain regression of whole days, cheap enough to be asked on every day: output from gain, loss and
what the sensors read wrong, with a step among the last days. On sound months its parameters absorb
the constant errors of the sensors; what drops afterwards is the collector. What the drop is made of
is asked once, of the finer `regression`.
"""

from dataclasses import dataclass, replace

import numpy as np

from analysis.condition.regression import physics_of, prior_of, rolling_median
from analysis.condition.steady import SteadyDays
from analysis.record import Floats
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

    def latest_step(self, first: int, last: int, *, reach: int, least: int) -> Drop:
        """Give the likeliest step among the last `reach` days before `last`.

        The parameters are fitted to all days together with the step, so a season that the test
        report describes badly is not taken for one.
        """
        rows, out = self.rows[first:last] / self.scatter, self.out[first:last] / self.scatter
        size = rows.shape[0]
        onsets = np.arange(max(size - reach, least), size - least + 1)
        after = slice(onsets[0], None)
        cross, pull = (
            np.cumsum(of[after][::-1], axis=0)[::-1][: len(onsets)].T / self.scatter
            for of in (rows, out)
        )
        # The step is what is left of each onset's column once the parameters have had their part.
        precise = np.diag(1.0 / self.prior_u**2)
        right = precise @ self.prior + rows.T @ out
        solved = np.linalg.solve(precise + rows.T @ rows, np.column_stack([right, cross]))
        alone, part = solved[:, 0], solved[:, 1:]
        left = (size - onsets) / self.scatter**2 - (cross * part).sum(axis=0)
        step, u = (pull - right @ part) / left, 1.0 / np.sqrt(left)
        best = int(np.argmin(step / u))
        sound = alone - part[:, best] * step[best]
        level = float(np.mean(self.rows[first:last] @ sound))
        return Drop(
            onset=first + int(onsets[best]),
            seen=last,
            frac=-float(step[best]) / level,
            u_frac=float(u[best]) / level,
            sound=sound,
        )


def trace_of(days: SteadyDays, site: Site) -> Trace:
    """Prepare steady days for fitting; days far off their neighbours are left aside."""
    prior, prior_u = prior_of(site)
    rows, out = physics_of(days), days.out_kwh / np.maximum(days.gain_kwh, 1e-9)
    off = out - rows @ prior
    off = off - rolling_median(off, _NEIGHBOURS)
    scatter = max(1.4826 * float(np.median(np.abs(off))) if len(off) else 0.0, _LEAST_SCATTER)
    kept = np.abs(off) <= 4.0 * scatter
    return Trace(
        days=days.picked(kept),
        rows=rows[kept],
        out=out[kept],
        scatter=scatter,
        prior=prior,
        prior_u=prior_u,
    )
