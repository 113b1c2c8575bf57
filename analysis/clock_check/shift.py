"""By how much a day's curve stands beside the curve that the sun would draw.

What was seen is taken for a share of cloudless light and a share of even light, neither of them
negative, both moved by the error of the clock. Every shift of a circular day is tried at once
through Fourier transforms: the curves keep their sums of squares however far they are moved.
"""

from dataclasses import dataclass

import numpy as np

from analysis.clock_check.curves import Curves
from analysis.grid import BIN_S
from analysis.record import Floats, known_or_zero

# Clouds of one hour and the next are alike, so a day holds about so many separate looks
# (engineering judgement, set so that days scatter as they say; measured by tests.bench.clock).
_LOOKS = 5.0
# How deep the valley is, is judged half an hour beside its floor.
_BESIDE = 6
_LEAST_MISFIT = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shifts:
    """For each day how far the clock is ahead [s], its noise [s], the misfit [-]; shape (days,)."""

    offset_s: Floats
    noise_s: Floats
    misfit: Floats


def shifts(seen: Floats, drawn: Curves) -> Shifts:
    """Give the best shift of each day.

    Parameters
    ----------
    seen : shape (days, bins), what was logged, any scale; NaN anywhere leaves the day out
    drawn : the curves on the same bins
    """
    known = np.isfinite(seen).all(axis=1)
    misfit = _misfit(known_or_zero(seen), drawn.beam, drawn.even)
    bins = seen.shape[1]
    row = np.arange(seen.shape[0])
    floor = misfit.argmin(axis=1)
    here = misfit[row, floor]
    before, after = misfit[row, floor - 1], misfit[row, (floor + 1) % bins]
    bend = np.maximum(before - 2.0 * here + after, 1e-12)
    offset = floor + np.clip(0.5 * (before - after) / bend, -0.5, 0.5)
    offset = np.where(offset > bins / 2, offset - bins, offset)
    beside = misfit[row, floor - _BESIDE] + misfit[row, (floor + _BESIDE) % bins] - 2.0 * here
    steep = np.maximum(beside, 1e-12) / _BESIDE**2
    noise = np.sqrt(2.0 * np.maximum(here, _LEAST_MISFIT) / (_LOOKS * steep))
    return Shifts(
        offset_s=np.where(known, offset * BIN_S, np.nan),
        noise_s=np.where(known, noise * BIN_S, np.nan),
        misfit=np.where(known, here, np.nan),
    )


def _misfit(seen: Floats, beam: Floats, even: Floats) -> Floats:
    """Give the share of each day's sum of squares that the best mixture leaves, by shift."""
    turned = np.fft.rfft(seen, axis=1)
    bins = seen.shape[1]

    def meets(curve: Floats) -> Floats:
        """Give the product of what was seen with a curve moved later by each number of bins."""
        other = np.fft.rfft(curve, axis=1)
        return np.asarray(np.fft.irfft(turned * np.conj(other), n=bins, axis=1))

    def own(one: Floats, other: Floats) -> Floats:
        return np.asarray((one * other).sum(axis=1, keepdims=True))

    tiny = 1e-9
    with_beam, with_even = meets(beam), meets(even)
    beams, evens, both = own(beam, beam) + tiny, own(even, even) + tiny, own(beam, even)
    apart = np.maximum(beams * evens - both * both, tiny)
    share = (with_beam * evens - with_even * both) / apart
    rest = (with_even * beams - with_beam * both) / apart
    mixed = with_beam * share + with_even * rest
    alone = np.maximum(
        np.maximum(with_beam, 0.0) ** 2 / beams, np.maximum(with_even, 0.0) ** 2 / evens
    )
    explained = np.where((share >= 0.0) & (rest >= 0.0), mixed, alone)
    return np.asarray(np.clip(1.0 - explained / (own(seen, seen) + tiny), 0.0, 1.0))
