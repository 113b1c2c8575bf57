"""Heat between two readings that somebody took off a heat meter, and its entry in JSON."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class HandSpan:
    """Heat between two readings.

    Attributes
    ----------
    start_s, end_s : the two readings, UTC epoch seconds
    delivered_kwh, delivered_low_kwh, delivered_high_kwh : what the meter counted, with 95 % bounds;
        None where the register went down
    logged_kwh : what the log measured on the whole local days within, None where it has none
    logged_frac : share of the span that those days' samples cover
    who : who read the later one
    """

    start_s: int
    end_s: int
    delivered_kwh: float | None
    delivered_low_kwh: float | None
    delivered_high_kwh: float | None
    logged_kwh: float | None
    logged_frac: float
    who: str | None

    def as_json(self) -> dict[str, Any]:
        """Give the entry of the machine report."""
        return {
            "from": _iso(self.start_s),
            "to": _iso(self.end_s),
            "basis": "read_by_hand",
            "delivered_kwh": _rounded(self.delivered_kwh),
            "delivered_low_kwh": _rounded(self.delivered_low_kwh),
            "delivered_high_kwh": _rounded(self.delivered_high_kwh),
            "logged_kwh": _rounded(self.logged_kwh),
            "logged_frac": round(self.logged_frac, 4),
            "who": self.who,
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> "HandSpan":
        """Build it again from its entry."""
        rest: dict[str, Any] = {
            name: value for name, value in data.items() if name not in ("from", "to", "basis")
        }
        return cls(start_s=_seconds(data["from"]), end_s=_seconds(data["to"]), **rest)


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def _iso(time_s: int) -> str:
    return datetime.fromtimestamp(time_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _seconds(text: str) -> int:
    return int(datetime.fromisoformat(text).timestamp())
