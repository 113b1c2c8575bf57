"""The compiled loop of `analysis.condition.number`: numbers of tubes against readings of a step."""

from typing import TypeVar

import numpy as np

from analysis.compiled import compiled, step
from analysis.record import Floats

# What is less likely than the likeliest by more than this, as a logarithm, is as good as nothing.
_NOTHING = 60.0
_Numbers = TypeVar("_Numbers", float, Floats)


@step
def ln_chance(size: _Numbers, middle: float, precise: float, rest: float) -> _Numbers:
    """Give the log of how likely sizes are, beside what no size takes away."""
    return -0.5 * (precise * (size - middle) ** 2 + rest)


@step
def _most(sizes: Floats, number: int, middle: float, precise: float, rest: float) -> float:
    """Give the log of how likely a number is at most: that of the size in its span that suits."""
    nearest: float = min(max(middle, sizes[number, 0]), sizes[number, -1])
    return ln_chance(nearest, middle, precise, rest)


@compiled
def weigh(
    likeliest: Floats,
    own: Floats,
    left: Floats,
    scale: Floats,
    sizes: Floats,
    share: Floats,
    chances: Floats,
) -> None:
    """Write how likely each number is under all readings of one of the two parts of the step.

    The other part is nought. Completing the square leaves one product for each size.

    Parameters
    ----------
    likeliest, own, left : shape (readings,), the size that suits a reading best, its precision
        [1/size^2], and what no size takes away [-]
    scale : shape (readings,), what each reading counts
    sizes : shape (numbers, m), sizes that each number may have, rising
    share : shape (m,), what each of them counts
    chances : shape (numbers,), written
    """
    chances[:] = 0.0
    for reading in range(likeliest.shape[0]):
        middle, precise, rest = likeliest[reading], own[reading], left[reading]
        best = -np.inf
        for number in range(sizes.shape[0]):
            best = max(best, _most(sizes, number, middle, precise, rest))
        for number in range(sizes.shape[0]):
            if not _most(sizes, number, middle, precise, rest) > best - _NOTHING:
                continue
            seen = 0.0
            for at in range(sizes.shape[1]):
                ln = ln_chance(sizes[number, at], middle, precise, rest)
                if ln > best - _NOTHING:
                    seen += share[at] * np.exp(ln)
            chances[number] += scale[reading] * seen
