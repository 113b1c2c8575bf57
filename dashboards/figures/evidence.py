"""The decisive hours of a finding: the channels that tell, and the levels they are held against."""

from typing import Any

from analysis.record import Record
from analysis.results import Finding
from analysis.site import Site
from dashboards.figures.day_curves import Stretch, day_curves
from dashboards.figures.decisive import ALL, DECISIVE, LONGEST_EVIDENCE_S, LOOP


def evidence(finding: Finding, record: Record, *, site: Site) -> Any:
    """Draw the decisive channels of the hours that `record` holds.

    Returns
    -------
    plotly.graph_objects.Figure : the evidence's own hours set off, levels as dashed lines
    """
    decisive = DECISIVE.get(finding.kind, ALL)
    channels = decisive.channels
    if finding.channel:
        channels = (finding.channel, *LOOP, "store_top", "ambient")
    first = int(record.start_s[0]) if len(record) else finding.start_s
    last = int(record.start_s[-1]) if len(record) else finding.start_s
    stretches = tuple(
        Stretch(start_s=max(item.start_s, first), end_s=min(item.end_s, last))
        for item in finding.evidence
        if item.end_s - item.start_s <= LONGEST_EVIDENCE_S
        and item.start_s < last
        and item.end_s > first
    )
    return day_curves(
        record,
        timezone=site.place.timezone,
        channels=channels,
        thresholds=decisive.levels(site),
        stretches=stretches,
    )
