"""Findings as lines on the time axis of a figure."""

from collections.abc import Mapping
from typing import Any

from analysis.results import Finding, Report
from dashboards.format import bounded, kind_words, local, span
from dashboards.theme import var

_MOST_LANES = 6


def finding_lanes(report: Report, titles: Mapping[str, str]) -> list[dict[str, Any]]:
    """Give one trace a finding, on the second y axis, in lanes that never overlap."""
    ends_of_lanes: list[float] = []
    traces = []
    for finding in sorted(report.findings, key=lambda item: item.start_s):
        end_s = report.end_s if finding.end_s is None else finding.end_s
        lane = next((n for n, end in enumerate(ends_of_lanes) if finding.start_s >= end), None)
        if lane is None:
            if len(ends_of_lanes) == _MOST_LANES:
                continue
            lane = len(ends_of_lanes)
            ends_of_lanes.append(0.0)
        ends_of_lanes[lane] = end_s
        traces.append(_finding(finding, end_s, lane, report.timezone, titles))
    return traces


def _finding(
    finding: Finding, end_s: int, lane: int, timezone: str, titles: Mapping[str, str]
) -> dict[str, Any]:
    title = titles.get(finding.kind) or kind_words(finding.kind)
    lost = bounded(finding.lost, unknown="cost not known")
    text = f"<b>{title}</b><br>{span(finding.start_s, finding.end_s, timezone)}<br>{lost}"
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "name": title,
        "x": [f"{local(when, timezone):%Y-%m-%d %H:%M}" for when in (finding.start_s, end_s)],
        "y": [lane, lane],
        "yaxis": "y2",
        "line": {"color": var("finding" if finding.urgency != "record" else "quiet"), "width": 3},
        "marker": {
            "symbol": ["line-ns-open", "line-ns-open" if finding.end_s else "triangle-right"],
            "size": 9,
            "color": var("finding" if finding.urgency != "record" else "quiet"),
        },
        "hovertemplate": f"{text}<extra></extra>",
        "showlegend": False,
    }
