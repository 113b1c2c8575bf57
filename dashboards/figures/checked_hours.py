"""The field check as a picture: every hour, measured against estimated, and the line between."""

from analysis.results import FieldCheck, Report
from dashboards.figures.figure import Figure
from dashboards.figures.layout import axis, layout, titled
from dashboards.format import moment
from dashboards.theme import var


def checked_hours(check: FieldCheck, *, timezone: str) -> Figure:
    """Draw measured against estimated power [kW]; points above the line reach the estimate."""
    due = [power_w / 1000.0 for power_w in check.points.estimated_w]
    got = [power_w / 1000.0 for power_w in check.points.measured_w]
    most = max([*due, *got, 0.1]) * 1.05
    line = {
        "type": "scatter", "mode": "lines", "name": "as much as estimated",
        "x": [0.0, most], "y": [0.0, most], "hoverinfo": "skip",
        "line": {"color": var("expected"), "width": 2, "dash": "dash"},
    }  # fmt: skip
    hours = {
        "type": "scatter", "mode": "markers", "name": "one hour", "x": due, "y": got,
        "marker": {"color": var("delivered"), "size": 6, "opacity": 0.75},
        "text": [moment(start_s, timezone) for start_s in check.points.start_s],
        "hovertemplate": "%{text}<br>measured %{y:.2f} kW<br>estimated %{x:.2f} kW<extra></extra>",
    }  # fmt: skip
    return Figure(
        data=[line, hours],
        layout=layout(
            # Without it the chart program takes another height when the window changes.
            height=340,
            showlegend=True,
            xaxis=axis(range=[0.0, most], title=titled("estimated, kW")),
            yaxis=axis(range=[0.0, most], title=titled("measured, kW")),
        ),
    )


def check_json(report: Report) -> str:
    """Give the picture for a page; empty where nothing was checked."""
    if report.field_check is None:
        return ""
    return checked_hours(report.field_check, timezone=report.timezone).to_json()
