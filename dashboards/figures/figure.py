"""A figure as plain data: what the chart program in the browser is given, and nothing in between.

Plotly's own classes check every property of every trace again each time a figure is made, which
took more than half of the answer to somebody who looks at another day. The tests hold every figure
against these classes instead (`tests/plotly_rules.py`).
"""

import json
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """Traces and layout in Plotly's words; a value that is not known is None, never NaN."""

    data: list[dict[str, Any]]
    layout: dict[str, Any]

    def to_json(self) -> str:
        """Write the figure as strict JSON.

        Raises
        ------
        ValueError : it holds a number that is not finite
        """
        return json.dumps(
            {"data": self.data, "layout": self.layout}, separators=(",", ":"), allow_nan=False
        )
