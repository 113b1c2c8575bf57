"""The field check as a picture: every hour, measured against estimated, and the line between."""

from typing import Any

from analysis.results import FieldCheck, Report
from dashboards.figures.layout import axis, layout, titled
from dashboards.figures.plotly_program import graph_objects
from dashboards.format import moment
from dashboards.render import figure_json
from dashboards.theme import var


def checked_hours(check: FieldCheck, *, timezone: str) -> Any:
    """Draw measured against estimated power [kW]; points above the line reach the estimate.

    Returns
    -------
    plotly.graph_objects.Figure
    """
    go = graph_objects()

    due = [item.estimated_w / 1000.0 for item in check.points]
    got = [item.measured_w / 1000.0 for item in check.points]
    most = max([*due, *got, 0.1]) * 1.05
    figure = go.Figure(layout=layout(showlegend=True))
    figure.add_scatter(
        x=[0.0, most], y=[0.0, most], mode="lines", name="as much as estimated",
        line={"color": var("expected"), "width": 2, "dash": "dash"}, hoverinfo="skip",
    )  # fmt: skip
    figure.add_scatter(
        x=due, y=got, mode="markers", name="one hour",
        marker={"color": var("delivered"), "size": 6, "opacity": 0.75},
        text=[moment(item.start_s, timezone) for item in check.points],
        hovertemplate="%{text}<br>measured %{y:.2f} kW<br>estimated %{x:.2f} kW<extra></extra>",
    )  # fmt: skip
    figure.update_xaxes(axis(range=[0.0, most], title=titled("estimated, kW")))
    figure.update_yaxes(axis(range=[0.0, most], title=titled("measured, kW")))
    return figure


def check_json(report: Report) -> str:
    """Give the picture for a page; empty where nothing was checked."""
    if report.field_check is None:
        return ""
    return figure_json(checked_hours(report.field_check, timezone=report.timezone))
