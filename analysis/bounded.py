"""A figure and its 95 % interval, the shape of whatever has bounds."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounded:
    """A figure and its 95 % interval."""

    value: float
    low: float
    high: float
