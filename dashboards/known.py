"""Which finding of a new analysis is one that was known before.

More data can move the start of a finding; it is still the same one.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

from analysis.results import Finding
from analysis.season import same_within_s
from dashboards.links import finding_key


class Before(Protocol):
    """What must be known of a finding that was seen before."""

    @property
    def key(self) -> str:
        """Its key then."""

    @property
    def kind(self) -> str:
        """Its kind."""

    @property
    def channel(self) -> str | None:
        """Its sensor."""

    @property
    def start_s(self) -> int:
        """Its start then, UTC epoch seconds."""


B = TypeVar("B", bound=Before)


@dataclass(frozen=True, slots=True, kw_only=True)
class Known(Generic[B]):
    """A finding of now, and the one of before that it is."""

    key: str
    finding: Finding
    before: B | None


def match(findings: Iterable[Finding], seen: Sequence[B]) -> list[Known[B]]:
    """Pair findings with those seen before: exact keys first, then the nearest start."""
    left = {one.key: one for one in seen}
    keyed = [(finding_key(finding), finding) for finding in findings]
    pairs: dict[str, B | None] = {key: left.pop(key) for key, _ in keyed if key in left}
    for key, finding in keyed:
        if key not in pairs:
            near = _nearest(finding, left.values())
            pairs[key] = left.pop(near.key) if near is not None else None
    return [Known(key=key, finding=finding, before=pairs[key]) for key, finding in keyed]


def _nearest(finding: Finding, seen: Iterable[B]) -> B | None:
    same = [
        one
        for one in seen
        if one.kind == finding.kind
        and one.channel == finding.channel
        and abs(one.start_s - finding.start_s) < same_within_s(finding.kind)
    ]
    return min(same, key=lambda one: abs(one.start_s - finding.start_s), default=None)
