"""Hours above temperatures that age fluid and parts: three bars for each year, as SVG."""

import math
from collections.abc import Sequence

from markupsafe import Markup

from analysis.warranty.hot_years import LEVELS_C, HotYear
from dashboards.figures.layout import round_step, scale_room
from dashboards.format import number

_WIDTH, _HEIGHT = 720.0, 230.0
_BOTTOM, _TOP = 28.0, 18.0
_GROUP_FRAC, _WIDEST = 0.66, 42.0
_MARKS = {120: "warm", 150: "hot", 170: "hottest"}


def hot_hours(years: Sequence[HotYear]) -> Markup:
    """Draw the years that were logged; an empty string where none tells hours."""
    shown = [one for one in years if one.above_h is not None]
    most = max((hours for one in shown for hours in (one.above_h or {}).values()), default=0.0)
    if not shown or most <= 0.0:
        return Markup("")
    step = round_step(most)
    top = step * math.ceil(most / step)
    base = _HEIGHT - _BOTTOM
    per_h = (base - _TOP) / top
    scale = {
        v: f"{number(v, decimals=0 if step >= 1 else 1)} h"
        for v in (step * n for n in range(1, round(top / step) + 1))
    }
    left = scale_room(*scale.values())
    pitch = (_WIDTH - left) / len(shown)
    width = min(pitch * _GROUP_FRAC / len(LEVELS_C), _WIDEST)
    parts = [
        f'<line class="grid" x1="{left:.0f}" x2="{_WIDTH:.0f}" y1="{base - v * per_h:.1f}" '
        f'y2="{base - v * per_h:.1f}"/><text x="{left - 8:.0f}" y="{base - v * per_h + 4:.1f}" '
        f'text-anchor="end">{says}</text>'
        for v, says in scale.items()
    ]
    for place, one in enumerate(shown):
        middle = left + (place + 0.5) * pitch
        for nth, level in enumerate(LEVELS_C):
            hours = (one.above_h or {})[level]
            x = middle + (nth - len(LEVELS_C) / 2.0) * width
            if hours > 0.0:
                parts.append(
                    f'<rect class="{_MARKS[level]}" x="{x:.1f}" y="{base - hours * per_h:.1f}" '
                    f'width="{width - 2:.1f}" height="{hours * per_h:.1f}"/>'
                )
        parts.append(
            f'<text x="{middle:.1f}" y="{_HEIGHT - 9:.0f}" text-anchor="middle">{one.year}</text>'
        )
    parts.append(f'<line class="axis" x1="{left:.0f}" x2="{_WIDTH:.0f}" y1="{base}" y2="{base}"/>')
    return Markup(  # noqa: S704 - numbers alone
        f'<svg class="months hot-hours" viewBox="0 0 {_WIDTH:.0f} {_HEIGHT:.0f}" role="img" '
        'aria-label="Hours above 120, 150 and 170 °C in each year; the table below has the '
        f'numbers">{"".join(parts)}</svg>'
    )
