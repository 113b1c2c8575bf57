"""Delivered, expected and promised heat by day, week, month or year, findings on the time axis."""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

from analysis.results import Report
from dashboards.figures.figure import Figure
from dashboards.figures.finding_lanes import finding_lanes
from dashboards.figures.layout import axis, layout, titled
from dashboards.format import (
    NOT_MEASURED,
    bound_of,
    bounded,
    day,
    month,
    share,
)
from dashboards.periods import Period, Size, periods
from dashboards.theme import var

_DAY_MS = 86_400_000


def heat_by_period(report: Report, size: Size, *, titles: Mapping[str, str]) -> Figure:
    """Draw the figure.

    Parameters
    ----------
    report : the analysis
    size : how long each bar's stretch is
    titles : kind to its name in plain words

    Returns
    -------
    Figure : bars `delivered` with 95 % bounds (not by day), steps `expected`
        and `promised` [kWh]; a stretch without measurement stays a gap; findings as lines below
    """
    parts = periods(report, size)
    lanes = finding_lanes(report, titles)
    band = 0.05 * len({trace["y"][0] for trace in lanes}) + 0.03 if lanes else 0.0
    return Figure(
        data=[_delivered(parts, size), _goal(parts, size), _line(parts, "design"), *lanes],
        layout=layout(
            bargap=0,
            hovermode="closest",
            height=380 + int(320 * band),
            yaxis=axis(
                title=titled("heat [kWh]"), rangemode="tozero", domain=[band, 1], fixedrange=True
            ),
            yaxis2=axis(
                domain=[0, max(band - 0.02, 0.001)], visible=False, fixedrange=True,
                autorange="reversed",
            ),
            xaxis=axis(
                type="date", anchor="y2" if lanes else "y", showgrid=False, hoverformat="%d %b %Y",
                **_range(parts, size),
            ),
        ),
    )  # fmt: skip


def _range(parts: tuple[Period, ...], size: Size) -> dict[str, list[str]]:
    if not parts:
        return {}
    pad = {"day": 1, "week": 4, "month": 10, "year": 60}[size]
    end = parts[-1].start + timedelta(days=_length(parts[-1], size) + pad)
    return {"range": [(parts[0].start - timedelta(days=pad)).isoformat(), end.isoformat()]}


def _length(part: Period, size: Size) -> int:
    """Give the days from the start of a stretch to the start of the next one."""
    if size in ("day", "week"):
        return 1 if size == "day" else 7
    start = part.start
    if size == "year":
        return (date(start.year + 1, 1, 1) - start).days
    return (date(start.year + start.month // 12, start.month % 12 + 1, 1) - start).days


def _middle(part: Period, size: Size) -> str:
    hours = _length(part, size) * 12
    return f"{part.start + timedelta(days=hours // 24)} {hours % 24:02d}:00"


def _delivered(parts: tuple[Period, ...], size: Size) -> dict[str, Any]:
    trace: dict[str, Any] = {
        "type": "bar",
        "name": "delivered",
        "x": [_middle(part, size) for part in parts],
        "y": [part.delivered_kwh for part in parts],
        "width": [_length(part, size) * _DAY_MS * 0.78 for part in parts],
        "marker": {"color": var("delivered"), "line": {"width": 0}},
        "customdata": [_says(part, size) for part in parts],
        "hovertemplate": "%{customdata}<extra></extra>",
    }
    if size != "day":
        trace["error_y"] = {
            "type": "data",
            "symmetric": False,
            "array": [_gap(part.delivered_high_kwh, part.delivered_kwh) for part in parts],
            "arrayminus": [_gap(part.delivered_kwh, part.delivered_low_kwh) for part in parts],
            "color": var("delivered_ink"),
            "thickness": 1.4,
            "width": 3,
        }
    return trace


def _gap(upper: float | None, lower: float | None) -> float | None:
    return None if upper is None or lower is None else upper - lower


def _says(part: Period, size: Size) -> str:
    name = {
        "day": day(part.start, weekday=True),
        "week": f"week from {day(part.start)}",
        "month": month(part.start.isoformat()[:7]),
        "year": str(part.start.year),
    }[size]
    delivered = bound_of(part.delivered_kwh, part.delivered_low_kwh, part.delivered_high_kwh)
    expected = bound_of(part.expected_kwh, part.expected_low_kwh, part.expected_high_kwh)
    return (
        f"<b>{name}</b><br>delivered {bounded(delivered)}<br>"
        f"expected {bounded(expected, unknown='not known: no weather')}<br>"
        f"{share(part.coverage) if part.coverage else NOT_MEASURED} measured"
    )


def _goal(parts: tuple[Period, ...], size: Size) -> dict[str, Any]:
    """Draw what was expected: a step, or by day a cap on each bar, which 365 steps would hide."""
    step = _line(parts, "expected")
    if size != "day":
        return step
    return step | {
        "mode": "markers",
        "x": [_middle(part, size) for part in parts],
        "y": [part.expected_kwh for part in parts],
        "marker": {
            "symbol": "line-ew",
            "size": 4,
            "line": {"color": var("expected"), "width": 1.6},
        },
    }


def _line(parts: tuple[Period, ...], which: str) -> dict[str, Any]:
    """Draw one value per stretch as a step; a None breaks the line."""
    ends = [part.start.isoformat() for part in parts]
    values = [getattr(part, f"{which}_kwh") for part in parts]
    if parts:
        ends.append((parts[-1].start + timedelta(days=parts[-1].days)).isoformat())
        values.append(values[-1])
    return {
        "type": "scatter",
        "mode": "lines",
        "name": "expected" if which == "expected" else "promised",
        "x": ends,
        "y": values,
        "line": {
            "shape": "hv",
            "color": var("expected" if which == "expected" else "design"),
            "width": 1.6,
            "dash": "solid" if which == "expected" else "dot",
        },
        "hoverinfo": "skip",
        "visible": True if any(value is not None for value in values) else "legendonly",
        "showlegend": any(value is not None for value in values),
    }
