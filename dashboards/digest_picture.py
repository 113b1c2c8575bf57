"""The picture of the digest: heat that came and heat to be expected, week by week, as a PNG.

Mail clients show neither scripts nor SVG, and many turn colours round in the dark: the picture
brings its own ground. It is drawn at twice its size, for screens with small dots.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from analysis.results import Report
from dashboards.format import day, number, plural
from dashboards.render import STATIC
from dashboards.theme import LIGHT
from dashboards.weeks import Days

WIDTH, HEIGHT = 560, 240
_WEEKS = 8
_SCALE = 2
_EDGE, _TOP, _FOOT = 16, 68, 50
_LEAST_KWH = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekHeat:
    """Seven days of all sites at which both figures are known.

    Attributes
    ----------
    delivered_kwh, expected_kwh : of the same days at the same sites [kWh]
    sites : how many they are
    """

    days: Days
    delivered_kwh: float
    expected_kwh: float
    sites: int

    @property
    def words(self) -> str:
        """Its days."""
        return self.days.words

    @property
    def heat(self) -> str:
        """Its heat in words."""
        decimals = 0 if self.expected_kwh >= 10 else 1
        return (
            f"{number(self.delivered_kwh, decimals=decimals)} of "
            f"{number(self.expected_kwh, decimals=decimals)} kWh at {plural(self.sites, 'roof')}"
        )


def heat_by_weeks(reports: Sequence[Report], *, last: date) -> tuple[WeekHeat, ...]:
    """Give the last weeks up to a day, the oldest first; those of which nothing is known fall out.

    Parameters
    ----------
    reports : of all sites
    last : the last day of the last week
    """
    weeks = []
    for number_ in range(_WEEKS - 1, -1, -1):
        end = last - timedelta(days=7 * number_)
        days = Days(first=end - timedelta(days=6), last=end)
        sums = [one for report in reports if (one := _within(report, days)) is not None]
        expected = sum(one[1] for one in sums)
        if expected >= _LEAST_KWH:
            weeks.append(
                WeekHeat(
                    days=days,
                    delivered_kwh=sum(one[0] for one in sums),
                    expected_kwh=expected,
                    sites=len(sums),
                )
            )
    return tuple(weeks)


def _within(report: Report, days: Days) -> tuple[float, float] | None:
    """Give delivered and expected heat of the days on which both are known [kWh]."""
    first, last = days.first.isoformat(), days.last.isoformat()
    known = [
        (one.delivered_kwh, one.expected_kwh)
        for one in report.days
        if first <= one.date <= last
        and one.delivered_kwh is not None
        and one.expected_kwh is not None
    ]
    if not known:
        return None
    return sum(one[0] for one in known), sum(one[1] for one in known)


class _Canvas:
    """An image that is drawn on in the mail's own units."""

    def __init__(self) -> None:
        from PIL import Image, ImageDraw, ImageFont

        self.image = Image.new("RGB", (WIDTH * _SCALE, HEIGHT * _SCALE), LIGHT.surface)
        self._draw = ImageDraw.Draw(self.image)
        self._fonts = {
            name: ImageFont.truetype(str(STATIC / file), points * _SCALE)
            for name, file, points in (
                ("bold", "text-bold.ttf", 17),
                ("plain", "text-regular.ttf", 16),
                ("small", "text-regular.ttf", 15),
            )
        }

    def text(
        self, x: float, y: float, words: str, *, font: str, fill: str, anchor: str = "ls"
    ) -> float:
        """Write words on the line `y`; gives their width."""
        self._draw.text(
            (x * _SCALE, y * _SCALE), words, font=self._fonts[font], fill=fill, anchor=anchor
        )
        return float(self._fonts[font].getlength(words)) / _SCALE

    def box(
        self, left: float, top: float, right: float, low: float, *, fill: str | None, edge: str
    ) -> None:
        """Draw a box."""
        self._draw.rectangle(
            [left * _SCALE, top * _SCALE, right * _SCALE, low * _SCALE],
            fill=fill,
            outline=edge,
            width=round(1.5 * _SCALE),
        )

    def png(self) -> bytes:
        """Give the file."""
        from PIL import Image

        out = io.BytesIO()
        few = self.image.convert("P", palette=Image.Palette.ADAPTIVE, colors=64)
        few.save(out, "PNG", optimize=True)
        return out.getvalue()


def course_png(weeks: Sequence[WeekHeat]) -> bytes:
    """Draw weeks, at least one, as a PNG."""
    canvas = _Canvas()
    canvas.text(_EDGE, 26, "Heat, week by week", font="bold", fill=LIGHT.ink)
    _key(canvas)
    floor = HEIGHT - _FOOT
    most = max(max(one.expected_kwh, one.delivered_kwh) for one in weeks)
    scale = (floor - _TOP) / most
    slot = (WIDTH - 2 * _EDGE) / len(weeks)
    half = min(slot * 0.34, 34.0)
    for place, week in enumerate(weeks):
        middle = _EDGE + slot * (place + 0.5)
        came = floor - max(week.delivered_kwh, 0.0) * scale
        healthy = floor - week.expected_kwh * scale
        canvas.box(
            middle - half + 7, came, middle + half - 7, floor,
            fill=LIGHT.delivered, edge=LIGHT.delivered,
        )  # fmt: skip
        canvas.box(middle - half, healthy, middle + half, floor, fill=None, edge=LIGHT.expected)
        canvas.text(
            middle,
            min(came, healthy) - 6,
            number(week.delivered_kwh, decimals=0 if week.expected_kwh >= 10 else 1),
            font="plain",
            fill=LIGHT.delivered_ink,
            anchor="ms",
        )
        canvas.text(
            middle, floor + 17, _short(week.days.last), font="small", fill=LIGHT.quiet, anchor="ms"
        )
    canvas.box(_EDGE, floor, WIDTH - _EDGE, floor + 0.5, fill=LIGHT.ink, edge=LIGHT.ink)
    canvas.text(
        _EDGE, HEIGHT - 7, "Each bar: seven days, until the day below it.", font="small",
        fill=LIGHT.quiet,
    )  # fmt: skip
    return canvas.png()


def _key(canvas: _Canvas) -> None:
    x = 196.0
    canvas.box(x, 15, x + 12, 27, fill=LIGHT.delivered, edge=LIGHT.delivered)
    x += 18 + canvas.text(x + 18, 26, "came [kWh]", font="small", fill=LIGHT.ink) + 18
    canvas.box(x, 15, x + 12, 27, fill=None, edge=LIGHT.expected)
    canvas.text(x + 18, 26, "expected of healthy plants", font="small", fill=LIGHT.ink)


def _short(when: date) -> str:
    words = day(when, year=False).split()
    return f"{words[0]} {words[1][:3]}"
