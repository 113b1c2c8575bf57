"""Which finding of a new analysis is one that was known before.

More data can move the start of a finding; it is still the same one.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from analysis.results import Finding
from dashboards.links import finding_key
from service.db.models import FindingSeen

# A finding of the same kind and sensor that starts this near is the same one. Two weeks: one that
# started in a gap of the data is found again when late rows fill the gap.
_SAME_WITHIN_S = 14 * 86_400


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """A finding of now, and the one of before that it is."""

    key: str
    finding: Finding
    before: FindingSeen | None


def match(findings: Iterable[Finding], seen: Sequence[FindingSeen]) -> list[Known]:
    """Pair findings with those seen before: exact keys first, then the nearest start."""
    left = {one.key: one for one in seen}
    keyed = [(finding_key(finding), finding) for finding in findings]
    pairs: dict[str, FindingSeen | None] = {key: left.pop(key) for key, _ in keyed if key in left}
    for key, finding in keyed:
        if key not in pairs:
            near = _nearest(finding, left.values())
            pairs[key] = left.pop(near.key) if near is not None else None
    return [Known(key=key, finding=finding, before=pairs[key]) for key, finding in keyed]


def _nearest(finding: Finding, seen: Iterable[FindingSeen]) -> FindingSeen | None:
    same = [
        one
        for one in seen
        if one.kind == finding.kind
        and one.channel == finding.channel
        and abs(one.start_s - finding.start_s) < _SAME_WITHIN_S
    ]
    return min(same, key=lambda one: abs(one.start_s - finding.start_s), default=None)
