"""Delivered heat on one rule: the bar with its bounds, ticks for expected and for the promise."""

from markupsafe import Markup

from analysis.results import Totals

_WIDTH, _BAR_Y, _BAR = 430.0, 30.0, 20.0


def balance(totals: Totals) -> Markup:
    """Draw the rule; an empty string where no heat is known."""
    delivered = totals.delivered_kwh
    if delivered is None:
        return Markup("")
    known = [
        value
        for value in (
            delivered, totals.delivered_high_kwh, totals.expected_kwh, totals.design_kwh,
        )
        if value is not None
    ]  # fmt: skip
    scale = _WIDTH / (max(known) * 1.04 or 1.0)
    parts = [
        f'<path class="base" d="M0 {_BAR_Y + _BAR + 0.5}H{_WIDTH:.0f}"/>',
        f'<rect class="arrived" x="0" y="{_BAR_Y:.0f}" width="{max(delivered, 0) * scale:.1f}" '
        f'height="{_BAR:.0f}"/>',
    ]
    low, high = totals.delivered_low_kwh, totals.delivered_high_kwh
    if low is not None and high is not None:
        parts.append(_whisker(max(low, 0.0) * scale, high * scale))
    marks = (("expected", totals.expected_kwh), ("design", totals.design_kwh))
    ticks = [(name, value * scale) for name, value in marks if value is not None]
    parts.extend(_tick(name, x, ticks) for name, x in ticks)
    return Markup(  # noqa: S704 - numbers, and texts that were escaped
        f'<svg class="balance" viewBox="0 0 {_WIDTH:.0f} {_BAR_Y + _BAR + 24:.0f}" '
        f'aria-hidden="true">{"".join(parts)}</svg>'
    )


def _whisker(low: float, high: float) -> str:
    y = _BAR_Y + _BAR / 2
    return (
        f'<path class="bounds" d="M{low:.1f} {y - 6:.1f}v12M{high:.1f} {y - 6:.1f}v12'
        f'M{low:.1f} {y:.1f}H{high:.1f}"/>'
    )


def _tick(name: str, x: float, ticks: list[tuple[str, float]]) -> str:
    """Draw expected above the bar and the promise below it, so that they never collide."""
    above = name == "expected"
    y = _BAR_Y - 8 if above else _BAR_Y
    label = "expected" if above else "promised"
    text_y = _BAR_Y - 13 if above else _BAR_Y + _BAR + 20
    anchor = "end" if x > _WIDTH * 0.8 else "start" if x < _WIDTH * 0.1 else "middle"
    return (
        f'<path class="mark-{name}" d="M{x:.1f} {y:.1f}v{_BAR + 8:.0f}"/>'
        f'<text class="mark-{name}" x="{x:.1f}" y="{text_y:.0f}" text-anchor="{anchor}">'
        f"{label}</text>"
    )
