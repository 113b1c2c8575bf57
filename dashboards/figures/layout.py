"""What all Plotly figures share: no frame, quiet grid, colours as references to the page's own."""

import math
from typing import Any

from dashboards.theme import FONT_STACK, var


def axis(**given: Any) -> dict[str, Any]:
    """Give an axis with the house's grid and lines."""
    return {
        "gridcolor": var("line"),
        "linecolor": var("line"),
        "zerolinecolor": var("line"),
        "tickfont": {"color": var("quiet"), "size": 12},
        "title": {"font": {"color": var("quiet"), "size": 12}},
        "automargin": True,
        **given,
    }


def titled(text: str) -> dict[str, Any]:
    """Give an axis title."""
    return {"text": text, "font": {"color": var("quiet"), "size": 12}, "standoff": 6}


def layout(**given: Any) -> dict[str, Any]:
    """Give a figure's layout."""
    return {
        "template": {},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": FONT_STACK, "color": var("ink"), "size": 13},
        "margin": {"l": 14, "r": 16, "t": 44, "b": 14},
        "hoverlabel": {
            "bgcolor": var("surface"),
            "bordercolor": var("line"),
            "font": {"color": var("ink"), "family": FONT_STACK},
        },
        "legend": {
            "orientation": "h",
            "x": 0,
            "y": 1.0,
            "yanchor": "bottom",
            "font": {"color": var("ink"), "size": 12},
        },
        "dragmode": False,
        **given,
    }


def round_step(most: float) -> float:
    """Give a round step that parts a scale up to `most` into two to five."""
    size = 10.0 ** math.floor(math.log10(most / 2.0))
    return next(size * n for n in (1.0, 2.0, 5.0, 10.0) if most / (size * n) <= 4.0)


def scale_room(*labels: str) -> float:
    """Give the units that a scale's figures need left of a drawing 720 wide.

    On a phone such a drawing shrinks to half and its text is set at 22 units (`.months text`).
    """
    return 13.0 * max(len(label) for label in labels) + 10.0
