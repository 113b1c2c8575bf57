"""The points of a trace: few enough, at the site's wall-clock time, with holes left open."""

from typing import Any

import numpy as np

from analysis.record import Record
from dashboards.format import local
from dashboards.reduce import Floats, Ints, min_max

MOST_POINTS = 2000
_GAP_IN_STEPS = 1.5


def points(record: Record, name: str, *, timezone: str) -> dict[str, Any]:
    """Give the points of a trace: by start and step on an even grid, else each with its time."""
    even = _on_a_grid(record, record.columns[name], timezone)
    if even is not None:
        first, step_s, values = even
        return {"x0": first, "dx": step_s * 1000, "y": _shown(values)}
    time_s, values = with_gaps(
        time_s=record.start_s, values=record.columns[name], step_s=record.step_s
    )
    time_s, values = min_max(time_s=time_s, values=values, most=MOST_POINTS)
    return {"x": [wall_clock(int(when), timezone) for when in time_s], "y": _shown(values)}


def _on_a_grid(record: Record, values: Floats, timezone: str) -> tuple[str, int, Floats] | None:
    """Give first time, step and values where all rows lie on one even grid of wall-clock time."""
    start_s = record.start_s
    if len(record) < 2:
        return None
    step_s = int(record.step_s[0])
    place = start_s - start_s[0]
    if step_s < 1 or bool(np.any(record.step_s != step_s)) or bool(np.any(place % step_s)):
        return None
    first, last = (local(int(when), timezone) for when in (start_s[0], start_s[-1]))
    length = int(place[-1]) // step_s + 1
    if length > MOST_POINTS or (last - first).total_seconds() != place[-1]:
        return None  # too long, or the clocks change in between
    grid = np.full(length, np.nan)
    grid[place // step_s] = values
    return f"{first:%Y-%m-%d %H:%M:%S}", step_s, grid


def wall_clock(time_s: int, timezone: str) -> str:
    """Write an instant as the site's wall clock shows it, without a zone."""
    return f"{local(time_s, timezone):%Y-%m-%d %H:%M:%S}"


def _shown(values: Floats) -> list[float | None]:
    return [round(float(value), 2) if np.isfinite(value) else None for value in values]


def with_gaps(*, time_s: Ints, values: Floats, step_s: Floats) -> tuple[Ints, Floats]:
    """Put a NaN into every hole in time, so that no line is drawn across it."""
    if time_s.shape[0] < 2:
        return time_s, values
    usual_s = float(np.median(step_s))
    before = np.flatnonzero(np.diff(time_s) > _GAP_IN_STEPS * np.maximum(step_s[:-1], usual_s))
    holes = time_s[before] + step_s[before].astype(np.int64)
    return np.insert(time_s, before + 1, holes), np.insert(values, before + 1, np.nan)
