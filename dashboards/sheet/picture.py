"""The sheet's one picture: twelve months, delivered heat before what a healthy plant would give."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from dashboards.figures.layout import round_step, scale_room
from dashboards.sheet.view import Bar

WIDTH, HEIGHT = 720.0, 230.0
_BOTTOM, _TOP = 26.0, 18.0
_BAR_FRAC = 0.62


@dataclass(frozen=True, slots=True, kw_only=True)
class Rect:
    """A bar in the picture's units; y grows downwards."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthShape:
    """A month as it is drawn; None where there is nothing to draw."""

    label: str
    middle: float
    delivered: Rect | None
    healthy: Rect | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Shapes:
    """Everything to draw: months, and the lines of the scale with their figures [kWh]."""

    months: tuple[MonthShape, ...]
    scale: tuple[tuple[float, int], ...]
    base: float
    left: float


def shapes(bars: Sequence[Bar]) -> Shapes:
    """Lay the picture out; the same for screen and PDF."""
    values = [v for bar in bars for v in (bar.delivered_kwh, bar.healthy_kwh) if v is not None]
    step = round_step(max((*values, 1.0)))
    top = step * math.ceil(max((*values, 1.0)) / step)
    base = HEIGHT - _BOTTOM
    per_kwh = (base - _TOP) / top
    left = scale_room(f"{round(top)}")
    pitch = (WIDTH - left) / len(bars)

    def rect(value: float | None, place: int, width: float) -> Rect | None:
        if value is None or value <= 0.0:
            return None
        middle = left + (place + 0.5) * pitch
        return Rect(
            x=middle - width / 2.0, y=base - value * per_kwh, width=width, height=value * per_kwh
        )

    return Shapes(
        months=tuple(
            MonthShape(
                label=bar.label,
                middle=left + (place + 0.5) * pitch,
                delivered=rect(bar.delivered_kwh, place, pitch * _BAR_FRAC),
                healthy=rect(bar.healthy_kwh, place, pitch * (_BAR_FRAC + 0.16)),
            )
            for place, bar in enumerate(bars)
        ),
        scale=tuple(
            (base - value * per_kwh, round(value))
            for value in (step * n for n in range(1, round(top / step) + 1))
        ),
        base=base,
        left=left,
    )


def picture(bars: Sequence[Bar], *, says: str) -> Markup:
    """Draw it as SVG; colours come from the page."""
    drawn = shapes(bars)
    parts = [
        f'<line class="grid" x1="{drawn.left:.0f}" x2="{WIDTH}" y1="{y:.1f}" y2="{y:.1f}"/>'
        f'<text x="{drawn.left - 6:.0f}" y="{y + 4:.1f}" text-anchor="end">{value}</text>'
        for y, value in drawn.scale
    ]
    for month in drawn.months:
        for kind, box in (("goal", month.healthy), ("arrived", month.delivered)):
            if box is not None:
                parts.append(
                    f'<rect class="{kind}" x="{box.x:.1f}" y="{box.y:.1f}" '
                    f'width="{box.width:.1f}" height="{box.height:.1f}"/>'
                )
        parts.append(
            f'<text x="{month.middle:.1f}" y="{HEIGHT - 8}" text-anchor="middle">'
            f"{escape(month.label)}</text>"
        )
    parts.append(
        f'<line class="axis" x1="{drawn.left:.0f}" x2="{WIDTH}" '
        f'y1="{drawn.base}" y2="{drawn.base}"/>'
    )
    return Markup(  # noqa: S704 - numbers, and texts that were escaped
        f'<svg class="months" viewBox="0 0 {WIDTH:.0f} {HEIGHT:.0f}" role="img" '
        f'aria-label="{escape(says)}">{"".join(parts)}</svg>'
    )
