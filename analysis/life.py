"""The life of a finding: it opens on evidence, lasts, ends when data prove it gone, and reopens.

What comes back within a season is the same finding: it keeps its beginning, and so its address, and
holds its breaks. Kinds that are events rather than states are told each for itself.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from analysis.results import URGENCIES, Bounded, Evidence, Finding
from analysis.season import EVENTS, SEASON_DAYS, Span
from analysis.units import SECONDS_PER_DAY

_BREAKS_TOLD = 3
_LEAST_BREAK_S = 2.0 * SECONDS_PER_DAY


def reopened(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Join findings that follow each other within a season; events stay as they are.

    Kind, channel and what explains them must be the same. The latest one says how things stand;
    losses add up where all are known, and what was most urgent stays so.

    Parameters
    ----------
    findings : sorted out by precedence already: what explains one spell need not explain another
    """
    joined: list[Finding] = []
    latest: dict[tuple[str, str | None, str | None], int] = {}
    for item in sorted(findings, key=lambda one: one.start_s):
        name = (item.kind, item.channel, item.suppressed_by)
        place = latest.get(name)
        if item.kind not in EVENTS and place is not None and _same(joined[place], item):
            joined[place] = _joined(joined[place], item)
        else:
            latest[name] = len(joined)
            joined.append(item)
    return tuple(
        replace(item, evidence=(*item.evidence, *_breaks_evidence(item.breaks)))
        if item.breaks
        else item
        for item in joined
    )


def _breaks_evidence(breaks: Sequence[Span]) -> Iterator[Evidence]:
    """Write the latest breaks as evidence."""
    for start_s, end_s in breaks[-_BREAKS_TOLD:]:
        yield Evidence(
            what="not seen for",
            start_s=start_s,
            end_s=end_s,
            value=(end_s - start_s) / SECONDS_PER_DAY,
            unit="days",
        )


def _same(last: Finding, item: Finding) -> bool:
    return last.end_s is None or item.start_s - last.end_s <= SEASON_DAYS * SECONDS_PER_DAY


def _joined(last: Finding, item: Finding) -> Finding:
    gone_s = item.start_s if last.end_s is None else last.end_s
    # What comes back on the next day was never gone.
    away = ((gone_s, item.start_s),) if item.start_s - gone_s > _LEAST_BREAK_S else ()
    end_s = item.end_s
    if end_s is not None and last.end_s is not None:
        end_s = max(end_s, last.end_s)
    return replace(
        item,
        start_s=last.start_s,
        end_s=end_s,
        urgency=min(last.urgency, item.urgency, key=URGENCIES.index),
        certainty=max(last.certainty, item.certainty),
        lost=_sum(last.lost, item.lost),
        untaken_kwh=last.untaken_kwh + item.untaken_kwh,
        breaks=(*last.breaks, *away, *item.breaks),
    )


def _sum(one: Bounded | None, other: Bounded | None) -> Bounded | None:
    if one is None or other is None:
        return None
    pairs = ((one.value, other.value), (one.low, other.low), (one.high, other.high))
    value, low, high = (sum(pair) for pair in pairs)
    return Bounded(value=value, low=low, high=high)
