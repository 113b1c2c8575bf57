"""Plotly's own rules, which every figure of the pages is held against; the pages do without."""

import json
from typing import Any

import plotly.graph_objects as go

from dashboards.figures.figure import Figure


def drawn(figure: Figure) -> Any:
    """Give a figure as Plotly understands it.

    Raises
    ------
    ValueError : a property or its value is none of Plotly's
    AssertionError : Plotly would leave out or alter a trace's property
    """
    sent = json.loads(figure.to_json())
    understood = go.Figure(sent)
    assert json.loads(understood.to_json())["data"] == sent["data"]
    return understood
