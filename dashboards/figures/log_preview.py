"""A log before it counts: its columns by what they are taken for, and the others as written."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from analysis.channels import channel
from analysis.common_rows import on_common_rows
from analysis.days import one_row_a_day
from analysis.record import Floats, Ints, Record, record_from_stamps
from analysis.units import SECONDS_PER_DAY
from dashboards.figures.day_curves import day_curves, has_panel
from dashboards.figures.figure import Figure
from dashboards.figures.layout import axis, layout, titled
from dashboards.figures.trace_points import wall_clock
from dashboards.theme import var

DAYS_SHOWN = 3
_MOST_POINTS = 1200
_STRIP = 84


def lively_days(stamp_s: Ints, columns: Mapping[str, Floats]) -> tuple[int, int]:
    """Give the rows of the few days on which the columns move most: there they can be told apart.

    Parameters
    ----------
    stamp_s : shape (n,), rising [s]
    columns : values of shape (n,)

    Returns
    -------
    first row, and the row after the last; of a log with one row a day, all of it
    """
    if one_row_a_day(stamp_s):
        return 0, stamp_s.shape[0]
    days = stamp_s // int(SECONDS_PER_DAY)
    edges = np.flatnonzero(np.diff(days, prepend=days[0] - 1))
    moved = np.zeros(edges.shape[0])
    for values in columns.values():
        low = np.fmin.reduceat(values, edges)
        high = np.fmax.reduceat(values, edges)
        span = np.nan_to_num(high - low)
        moved += span / span.max() if span.max() > 0.0 else 0.0
    ends = np.append(edges[1:], stamp_s.shape[0])
    width = min(DAYS_SHOWN, edges.shape[0])
    sums = np.convolve(moved, np.ones(width), mode="valid")
    best = int(np.argmax(sums))
    return int(edges[best]), int(ends[best + width - 1])


def understood_figure(
    stamp_s: Ints, columns: Mapping[str, Floats], *, stamp: Any, timezone: str
) -> Figure:
    """Draw the channels as the site's pages will draw them.

    Parameters
    ----------
    stamp_s : shape (n,), rising [s]
    columns : channel to values [canonical unit]
    stamp : which end of its step a stamp marks
    timezone : IANA name of the site's zone
    """
    drawn = {name: values for name, values in columns.items() if has_panel(name)}
    record: Record = record_from_stamps(stamp_s=stamp_s, columns=drawn, stamp=stamp)
    return day_curves(record, timezone=timezone)


def left_over_figure(
    stamp_s: Ints, columns: Mapping[str, Floats], *, names: Mapping[str, str], timezone: str
) -> Figure | None:
    """Draw columns one above the other as they are written; None where there are none.

    Parameters
    ----------
    stamp_s : shape (n,), rising [s]
    columns : key to values [as written]
    names : what each key is called on the page
    timezone : IANA name of the site's zone
    """
    held = {key: values for key, values in columns.items() if np.isfinite(values).any()}
    if not held:
        return None
    common = on_common_rows(stamp_s, held)  # every n-th row would miss sensors that take turns
    stamp_s, held = common.stamp_s, dict(common.columns)
    every = max(1, -(-stamp_s.shape[0] // _MOST_POINTS))
    times = [wall_clock(int(when), timezone) for when in stamp_s[::every]]
    share = 1.0 / len(held)
    given: dict[str, Any] = {}
    traces, notes = [], []
    for number, (key, values) in enumerate(held.items(), start=1):
        suffix = "" if number == 1 else str(number)
        top = 1.0 - share * (number - 1)
        low = max(0.0, top - share * 0.86)
        given[f"yaxis{suffix}"] = axis(
            domain=[low, top - share * 0.34], nticks=3, fixedrange=True, title=titled("")
        )
        name = names.get(key, key)
        traces.append(_strip(name, times, values[::every], f"y{suffix}"))
        notes.append(_label(name, top))
    last = "" if len(held) == 1 else str(len(held))
    given["xaxis"] = axis(
        type="date", anchor=f"y{last}", showgrid=False, tickformat="%H:%M\n%e %b", fixedrange=True
    )
    given["margin"] = {"l": 14, "r": 16, "t": 14, "b": 14}
    height = 60 + _STRIP * len(held)
    drawn = layout(**given, height=height, annotations=notes, hovermode="x unified")
    return Figure(data=traces, layout=drawn)


def _strip(name: str, times: list[str], values: Floats, y_axis: str) -> dict[str, Any]:
    return {
        "type": "scatter", "mode": "lines", "name": _plain(name), "x": times,
        "y": [round(float(v), 3) if np.isfinite(v) else None for v in values],
        "yaxis": y_axis, "line": {"color": var("quiet"), "width": 1.4},
        "showlegend": False, "connectgaps": False,
    }  # fmt: skip


def _label(name: str, top: float) -> dict[str, Any]:
    return {
        "text": _plain(name), "xref": "paper", "yref": "paper", "x": 0, "y": top,
        "xanchor": "left", "yanchor": "top", "showarrow": False,
        "font": {"color": var("ink"), "size": 13},
    }  # fmt: skip


def undrawn(columns: Mapping[str, Floats]) -> dict[str, Floats]:
    """Give the channels that the day curves have no panel for, counters and wind for instance."""
    return {name: values for name, values in columns.items() if not has_panel(name)}


def named(name: str) -> str:
    """Give a channel with its unit."""
    known = channel(name)
    return name if known is None else f"{known.says} [{known.unit}]"


def _plain(text: str) -> str:
    """Give a text that the chart program takes for no markup."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
