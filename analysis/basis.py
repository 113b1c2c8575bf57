"""What the report says that its figures rest on, the offset of the pipe sensors among it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class PairOffset:
    """What the hot pipe's sensor reads over the cold one's at rest, on local days, both included.

    `offset_low_k` to `offset_high_k` is a 95 % interval. `corrected` tells whether heat was
    corrected for it; it is not where the two differ by more than sensors of their class may.
    """

    first_date: str
    last_date: str
    nights: int
    offset_k: float
    offset_low_k: float
    offset_high_k: float
    corrected: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """What the figures rest on; None where there is nothing."""

    heat: str | None
    weather: str | None
    design: str | None
    notes: tuple[str, ...] = ()
    offsets: tuple[PairOffset, ...] = ()


def basis_from_json(data: Mapping[str, Any]) -> Basis:
    """Build the basis again from what the machine report holds; older ones have no offsets."""
    offsets = tuple(PairOffset(**item) for item in data.get("offsets", ()))
    return Basis(**{**data, "notes": tuple(data["notes"]), "offsets": offsets})
