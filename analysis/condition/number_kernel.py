"""The compiled loop of `analysis.condition.number`: numbers of tubes against readings of a step."""

import numpy as np

from analysis.compiled import compiled, step
from analysis.record import Floats

# What is less likely than the likeliest by more than this, as a logarithm, is as good as nothing.
_NOTHING = 60.0


@step
def _ln_chance(size: float, middle: float, precise: float, rest: float) -> float:
    return -0.5 * (precise * (size - middle) ** 2 + rest)


@compiled
def weigh(
    likeliest: Floats,
    own: Floats,
    left: Floats,
    scale: Floats,
    sizes: Floats,
    share: Floats,
    nearest: Floats,
    chances: Floats,
) -> None:
    """Write how likely each number is under all readings of one of the two parts of the step.

    The other part is nought. Completing the square leaves one product for each size.

    Parameters
    ----------
    likeliest, own, left : shape (readings,), the size that suits a reading best, its precision
        [1/size^2], and what no size takes away [-]
    scale : shape (readings,), what each reading counts
    sizes : shape (numbers, m), sizes that each number may have
    share : shape (m,), what each of them counts
    nearest : shape (readings,), written: the log of the likeliest size
    chances : shape (numbers,), written
    """
    chances[:] = 0.0
    for reading in range(likeliest.shape[0]):
        middle, precise, rest = likeliest[reading], own[reading], left[reading]
        best = -np.inf
        for number in range(sizes.shape[0]):
            for at in range(sizes.shape[1]):
                best = max(best, _ln_chance(sizes[number, at], middle, precise, rest))
        nearest[reading] = best
        for number in range(sizes.shape[0]):
            seen = 0.0
            for at in range(sizes.shape[1]):
                ln_chance = _ln_chance(sizes[number, at], middle, precise, rest)
                if ln_chance > best - _NOTHING:
                    seen += share[at] * np.exp(ln_chance)
            chances[number] += scale[reading] * seen
