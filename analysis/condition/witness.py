"""A second witness of the flow: did the meter's reading fall, at the same pump command?

Missing tubes and a flow meter that reads low scale the heat alike. At an unchanged pump command the
flow itself stays, so missing tubes lower the spread and leave the reading, and a meter that reads
low lowers the reading and leaves the spread.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.condition.steady import SteadyDays
from analysis.record import Bools, Floats

Blame = Literal["tubes", "flow_reading", "open"]

# Flow at a command wanders with temperature and filters, standard uncertainty (engineering
# judgement); a fortnight is taken to err as one.
_LEAST_U = 0.006
_BLOCK_D = 14
_LEAST_DAYS = 5
# Commands must be known for most of the steady time.
_KNOWN_FRAC = 0.5
# A fall of the reading up to this share of the fall of the output leaves the tubes to blame.
_SMALL_FRAC = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowWitness:
    """By which share the flow reading fell at the same pump command, with its u."""

    fall_frac: float
    u_frac: float

    def blames(self, drop: float, u_drop: float, *, metered_frac: float) -> Blame:
        """Say what a drop of the output comes from.

        Parameters
        ----------
        drop, u_drop : share of the output, and its standard uncertainty
        metered_frac : share of the output after it that the flow meter saw; the rest is what pipes
            and collectors took, which no flow reading changes
        """
        # What the output would have been with the reading as it was.
        without = metered_frac / max(1.0 - self.fall_frac, 0.05) + 1.0 - metered_frac
        as_if = 1.0 - 1.0 / without
        apart = 2.0 * float(np.hypot(self.u_frac, u_drop))
        if abs(as_if) <= max(2.0 * self.u_frac, _SMALL_FRAC * drop) and drop - as_if > apart:
            return "tubes"
        alike = abs(as_if - drop) <= max(apart, _SMALL_FRAC * drop)
        return "flow_reading" if alike and self.fall_frac > 3.0 * self.u_frac else "open"


def flow_witness(days: SteadyDays, *, onset_place: int) -> FlowWitness | None:
    """Compare the flow reading before and after a day, at the same pump command.

    Parameters
    ----------
    days : steady rows before and after
    onset_place : row in the table of days from which it is after

    Returns
    -------
    None where pump command or flow are not logged, or days are few
    """
    known = days.pump_h >= _KNOWN_FRAC * 0.2 * days.hours
    known &= (days.pump_h > 0.0) & (days.spread_kwh_k > 0.0)
    days = days.picked(known)
    after = days.place >= onset_place
    if min(len(np.unique(days.place[chosen])) for chosen in (after, ~after)) < _LEAST_DAYS:
        return None
    hours = days.hours
    x = np.stack([np.ones(len(hours)), days.pump_h / hours, days.pump2_h / hours], axis=1)
    flow = days.spread_kwh_k / hours
    usual = x @ _robust(x[~after], flow[~after])
    if not (usual > 0.0).all():
        return None
    blocks = days.place // _BLOCK_D
    before_mean, before_u = _mean(flow, usual, blocks, ~after)
    after_mean, after_u = _mean(flow, usual, blocks, after)
    u = float(np.sqrt(before_u**2 + after_u**2 + _LEAST_U**2))
    return FlowWitness(fall_frac=1.0 - after_mean / before_mean, u_frac=u)


def _robust(x: Floats, y: Floats) -> Floats:
    """Fit with weights by how far rows lie off; a ridge holds what a constant command leaves."""
    ridge = 1e-6 * len(y) * np.eye(x.shape[1])
    weights = np.ones(len(y))
    fitted: Floats = np.zeros(x.shape[1])
    for _ in range(5):
        heavy = x * weights[:, None]
        fitted = np.asarray(np.linalg.solve(heavy.T @ x + ridge, heavy.T @ y), dtype=np.float64)
        left = y - x @ fitted
        scatter = max(1.4826 * float(np.median(np.abs(left))), 1e-3 * float(np.median(y)))
        weights = 1.0 / (1.0 + (left / (3.0 * scatter)) ** 2)
    return fitted


def _mean(
    flow: Floats, usual: Floats, blocks: NDArray[np.int64], chosen: Bools
) -> tuple[float, float]:
    ratio, block = flow[chosen] / usual[chosen], blocks[chosen]
    means = [float(np.median(ratio[block == one])) for one in np.unique(block)]
    spread = float(np.std(means, ddof=1)) if len(means) > 1 else float(np.std(ratio))
    return float(np.median(ratio)), spread / float(np.sqrt(len(means)))
