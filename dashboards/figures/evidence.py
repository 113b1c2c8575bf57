"""The decisive hours of a finding: the channels that tell, and the levels they are held against."""

import numpy as np

from analysis.channels import channel
from analysis.record import Record
from analysis.results import Finding
from analysis.site import Site
from dashboards.figures.day_curves import Stretch, Threshold, day_curves
from dashboards.figures.decisive import ALL, DECISIVE, LONGEST_EVIDENCE_S, LONGEST_NIGHT_S
from dashboards.figures.figure import Figure
from dashboards.figures.trace_points import wall_clock

# A level of pressure is drawn up to so many times the highest pressure shown.
_REACH = 2.0


def evidence(finding: Finding, record: Record, *, site: Site, hours: tuple[int, int]) -> Figure:
    """Draw the decisive channels of some hours.

    Parameters
    ----------
    finding, site : what was found, and where
    record : the rows of these hours
    hours : first and last instant to show, UTC epoch seconds; what holds no row stays empty

    Returns
    -------
    Figure : the evidence's own hours set off, levels as dashed lines
    """
    decisive = DECISIVE.get(finding.kind, ALL)
    channels = decisive.channels
    if finding.channel:
        channels = (finding.channel, *channels)
    first, last = hours
    stretches = tuple(
        Stretch(start_s=max(item.start_s, first), end_s=min(item.end_s, last))
        for item in finding.evidence
        if item.end_s - item.start_s <= (LONGEST_NIGHT_S if decisive.night else LONGEST_EVIDENCE_S)
        and item.start_s < last
        and item.end_s > first
    )
    if decisive.onset or decisive.hole:
        end_s = last if finding.end_s is None else min(finding.end_s, last)
        stretches = (Stretch(start_s=finding.start_s, end_s=end_s),)
    figure = day_curves(
        record,
        timezone=site.place.timezone,
        channels=channels,
        thresholds=_in_reach(decisive.levels(site), record),
        stretches=stretches,
    )
    if finding.channel:
        # The sensor in question stands out among the others.
        known = channel(finding.channel)
        name = known.says if known else finding.channel
        for trace in figure.data:
            if trace["name"] == name:
                trace["line"]["width"] = 3.2
    figure.layout["xaxis"]["range"] = [wall_clock(when, site.place.timezone) for when in hours]
    return figure


def _in_reach(levels: tuple[Threshold, ...], record: Record) -> tuple[Threshold, ...]:
    """Leave out a safety valve far above the pressure: it would flatten the climb that counts."""
    pressure = record.get("pressure")
    if pressure is None or not np.isfinite(pressure).any():
        return levels
    most_bar = _REACH * float(np.nanmax(pressure))
    return tuple(item for item in levels if item.quantity != "pressure" or item.value <= most_bar)
