"""Plotly, imported where a figure is drawn and not before: it is heavy.

Pages are answered by several threads. Plotly looks for pandas among the modules that are already
there and takes it half imported where another thread has only begun; so pandas is waited for first.
"""

from importlib import import_module
from typing import Any


def graph_objects() -> Any:
    """Give plotly's module of figures and traces."""
    import_module("pandas")
    return import_module("plotly.graph_objects")
