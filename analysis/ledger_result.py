"""Where the missing heat went: the result, and its entry in the machine report."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Any

from analysis.bounded import Bounded

OUTSIDE_THE_GAP: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(
            (
                "reverse_circulation",
                "night_running",
                "pump_never_stops",
                "store_overheat",
                "backup_overlap",
            ),
            "from the store",
        ),
        "poor_heat_transfer": "by a hotter loop, which the expected heat follows",
    }
)
"""Kinds whose cost is missing from no day's expected less delivered heat, and where it went."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """What one finding cost: kind, start and channel name it as in the findings."""

    kind: str
    start_s: int
    channel: str | None
    lost: Bounded


@dataclass(frozen=True, slots=True, kw_only=True)
class Ledger:
    """Expected less delivered heat of the days that tell both, shared among the findings.

    The entries, what is untaken and the rest add up to the gap, in value.

    Attributes
    ----------
    days : how many days tell both
    gap : expected less delivered heat of these days
    entries : what findings account for, in order of precedence
    untaken_kwh : missing for what was found, but no loss: a sound plant's warmer store would not
        have taken it
    rest : what no finding accounts for; below zero where days gave more than expected
    apart : what was lost outside the gap, or on days that do not tell both: no part of it
    """

    days: int
    gap: Bounded
    entries: tuple[Entry, ...]
    rest: Bounded
    apart: tuple[Entry, ...]
    untaken_kwh: float = 0.0

    def as_json(self) -> dict[str, Any]:
        """Give the entry of the machine report [kWh]."""
        return {
            "days": self.days,
            **_named("gap", self.gap),
            "findings": [_entry_json(item) for item in self.entries],
            "untaken_kwh": round(self.untaken_kwh, 4),
            **_named("rest", self.rest),
            "apart": [_entry_json(item) for item in self.apart],
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any] | None) -> "Ledger | None":
        """Build it again from its entry, None from none."""
        if data is None:
            return None
        return cls(
            days=data["days"],
            gap=_bounded("gap", data),
            entries=tuple(_entry(item) for item in data["findings"]),
            untaken_kwh=data.get("untaken_kwh", 0.0),
            rest=_bounded("rest", data),
            apart=tuple(_entry(item) for item in data["apart"]),
        )


def _entry_json(item: Entry) -> dict[str, Any]:
    start = datetime.fromtimestamp(item.start_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    return {
        "kind": item.kind,
        "start": start,
        "channel": item.channel,
        **_named("lost", item.lost),
    }


def _entry(data: Mapping[str, Any]) -> Entry:
    return Entry(
        kind=data["kind"],
        start_s=int(datetime.fromisoformat(data["start"]).timestamp()),
        channel=data["channel"],
        lost=_bounded("lost", data),
    )


def _named(name: str, bounded: Bounded) -> dict[str, float]:
    return {
        f"{name}_kwh": round(bounded.value, 4),
        f"{name}_low_kwh": round(bounded.low, 4),
        f"{name}_high_kwh": round(bounded.high, 4),
    }


def _bounded(name: str, data: Mapping[str, Any]) -> Bounded:
    return Bounded(
        value=data[f"{name}_kwh"],
        low=data[f"{name}_low_kwh"],
        high=data[f"{name}_high_kwh"],
    )
