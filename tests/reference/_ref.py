"""A check value and where it was published."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike


@dataclass(frozen=True, slots=True, kw_only=True)
class Ref:
    """An expected value, how near we must come, and its source.

    `source` names work and place, and says so where the value is quoted from memory.
    """

    expected: float
    source: str
    rtol: float = 0.0
    atol: float = 0.0

    def __post_init__(self) -> None:
        if not self.source.strip():
            raise ValueError("a check value without a source is a guess")
        if self.rtol < 0.0 or self.atol < 0.0 or self.rtol + self.atol == 0.0:
            raise ValueError("a check value states how near is near enough")

    def check(self, found: ArrayLike) -> None:
        """Compare, and name the source where the values differ."""
        np.testing.assert_allclose(
            np.asarray(found, dtype=np.float64),
            self.expected,
            rtol=self.rtol,
            atol=self.atol,
            err_msg=self.source,
        )
