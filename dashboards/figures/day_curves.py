"""Temperatures, flow, pump and sun of some hours, one panel each, times in the site's zone."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.channels import channel
from analysis.record import Record
from dashboards.figures.figure import Figure
from dashboards.figures.layout import axis, layout, titled
from dashboards.figures.trace_points import points, wall_clock
from dashboards.theme import var

# Panels from top to bottom: name, axis title, families of units, share of the height.
_PANELS: tuple[tuple[str, str, frozenset[str], float], ...] = (
    ("temperature", "°C", frozenset({"temperature"}), 3.0),
    ("flow", "flow [l/min]", frozenset({"flow"}), 1.0),
    ("share", "pump [%]", frozenset({"share"}), 0.7),
    ("irradiance", "sun [W/m²]", frozenset({"irradiance"}), 1.0),
    ("pressure", "bar", frozenset({"pressure"}), 0.8),
    ("power", "heat [W]", frozenset({"power"}), 1.0),
)
# Colour and line of each channel: sensors of one family differ in dash as well as in hue.
_LOOKS: dict[str, tuple[str, str]] = {
    "collector": ("hot", "solid"),
    "loop_hot": ("delivered", "solid"),
    "loop_cold": ("cold", "solid"),
    "store_top": ("store", "solid"),
    "store_middle": ("store", "dash"),
    "store_bottom": ("store", "dot"),
    "ambient": ("ambient", "dot"),
    "hot_tap": ("finding", "dash"),
    "cold_feed": ("cold", "dot"),
    "flow": ("flow", "solid"),
    "pump": ("pump", "solid"),
    "backup": ("finding", "dash"),
    "pressure": ("expected", "solid"),
    "irradiance_plane": ("sun", "solid"),
    "irradiance_horizontal": ("sun", "dot"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Threshold:
    """A level that something is held against, in the panel of a family of units.

    `over` names the channel that it lies so far above at every instant; None: it stays.
    """

    label: str
    value: float
    quantity: str = "temperature"
    over: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Hours to set off, UTC epoch seconds."""

    start_s: int
    end_s: int


def day_curves(
    record: Record,
    *,
    timezone: str,
    channels: tuple[str, ...] | None = None,
    thresholds: tuple[Threshold, ...] = (),
    stretches: tuple[Stretch, ...] = (),
) -> Figure:
    """Draw the curves of a part of a record.

    Parameters
    ----------
    record : rows to draw; a gap in time or a NaN stays a gap
    timezone : IANA name of the site's zone
    channels : which to draw, numbered ones follow their base; default: all that have a panel
    thresholds, stretches : levels and hours to mark

    Returns
    -------
    Figure : at most `trace_points.MOST_POINTS` points a trace
    """
    traces, panels = [], []
    for family, title, quantities, weight in _PANELS:
        names = [n for n in record.columns if _in(n, quantities) and _wanted(n, channels)]
        names = [name for name in names if np.isfinite(record.columns[name]).any()]
        if not names:
            continue
        panels.append((family, title, weight))
        traces += [_trace(record, name, timezone, len(panels)) for name in names]
        traces += [
            _moving(record, level, timezone, len(panels))
            for level in thresholds
            if level.quantity == family and level.over in names
        ]
    return Figure(data=traces, layout=_panelled(panels, thresholds, stretches, timezone))


def has_panel(name: str) -> bool:
    """Tell whether a channel is drawn at all."""
    return any(_in(name, quantities) for _, _, quantities, _ in _PANELS)


def _in(name: str, quantities: frozenset[str]) -> bool:
    known = channel(name)
    return known is not None and not known.daily and known.quantity in quantities


def _base(name: str) -> str:
    return name[:-2] if name[-2:-1] == "_" and name[-1].isdigit() else name


def _wanted(name: str, channels: tuple[str, ...] | None) -> bool:
    return channels is None or name in channels or _base(name) in channels


def _trace(record: Record, name: str, timezone: str, panel: int) -> dict[str, Any]:
    known = channel(name)
    unit = known.unit if known else ""
    colour, dash = _LOOKS.get(_base(name), ("quiet", "solid"))
    if name != _base(name):
        dash = "longdash"
    trace: dict[str, Any] = {
        "type": "scatter",
        "mode": "lines",
        "name": known.says if known else name,
        **points(record, name, timezone=timezone),
        "yaxis": "y" if panel == 1 else f"y{panel}",
        "line": {"color": var(colour), "width": 1.6, "dash": dash},
        "hovertemplate": f"%{{y}} {unit}",
        "connectgaps": False,
    }
    if known and known.quantity in ("share", "flow"):
        trace["line"]["shape"] = "hv"
        # A filled area would run on across a hole, as if the pump had run in it.
        whole = None not in trace["y"]
        trace["fill"] = "tozeroy" if known.quantity == "share" and whole else "none"
        trace["fillcolor"] = var("expected_soft")
    return trace


def _moving(record: Record, level: Threshold, timezone: str, panel: int) -> dict[str, Any]:
    """Draw a level that goes along with a channel."""
    trace = _trace(record, level.over or "", timezone, panel)
    above = [None if value is None else value + level.value for value in trace["y"]]
    line = {"color": var("finding"), "width": 1.4, "dash": "dash"}
    return trace | {"name": level.label, "y": above, "line": line}


def _panelled(
    panels: list[tuple[str, str, float]],
    thresholds: tuple[Threshold, ...],
    stretches: tuple[Stretch, ...],
    timezone: str,
) -> dict[str, Any]:
    whole, gap = sum(weight for *_, weight in panels) or 1.0, 0.04
    room = 1.0 - gap * max(len(panels) - 1, 0)
    given: dict[str, Any] = {"hovermode": "x unified", "height": int(150 + 62 * whole)}
    top, shapes, notes = 1.0, [], []
    for number, (family, title, weight) in enumerate(panels, start=1):
        suffix = "" if number == 1 else str(number)
        low = max(0.0, top - room * weight / whole)
        given[f"yaxis{suffix}"] = axis(domain=[low, top], title=titled(title), fixedrange=True)
        if family in ("flow", "irradiance"):
            given[f"yaxis{suffix}"] |= {"rangemode": "nonnegative"}
        if family == "share":
            given[f"yaxis{suffix}"] |= {"range": [0, 105], "tickvals": [0, 100]}
        for level in (one for one in thresholds if one.quantity == family and not one.over):
            shapes.append(_level(level, f"y{suffix}"))
            notes.append(_note(level, f"y{suffix}"))
        top = low - gap
    last = "" if len(panels) < 2 else str(len(panels))
    given["xaxis"] = axis(
        type="date", anchor=f"y{last}", showgrid=False, tickformat="%H:%M\n%e %b", fixedrange=True
    )
    shapes += [_stretch(item, timezone) for item in stretches]
    return layout(**given, shapes=shapes, annotations=notes)


def _level(level: Threshold, y_axis: str) -> dict[str, Any]:
    return {
        "type": "line", "xref": "paper", "x0": 0, "x1": 1, "yref": y_axis,
        "y0": level.value, "y1": level.value,
        "line": {"color": var("finding"), "width": 1.4, "dash": "dash"},
    }  # fmt: skip


def _note(level: Threshold, y_axis: str) -> dict[str, Any]:
    return {
        "xref": "paper", "x": 1, "xanchor": "right", "yref": y_axis, "y": level.value,
        "yanchor": "bottom", "showarrow": False, "text": level.label,
        "font": {"color": var("finding_ink"), "size": 12},
    }  # fmt: skip


def _stretch(item: Stretch, timezone: str) -> dict[str, Any]:
    return {
        "type": "rect", "xref": "x", "yref": "paper", "y0": 0, "y1": 1, "layer": "below",
        "x0": wall_clock(item.start_s, timezone),
        "x1": wall_clock(item.end_s, timezone),
        "fillcolor": var("finding_soft"), "line": {"width": 0},
    }  # fmt: skip
