"""How numbers, times and unknowns are written for people.

Times come in as UTC epoch seconds and leave in the site's own zone: this is the only place where
local time appears. A figure is rounded by its own uncertainty, so that no digit claims more than
is known, and what is None is said to be unknown, never written as zero.
"""

import math
from collections.abc import Iterable
from datetime import date, datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

from analysis.results import Bounded, Urgency

NOT_MEASURED = "not measured"
UNKNOWN = "not known"

URGENCY_WORDS: dict[Urgency, str] = {
    "act": "Act today",
    "visit": "Plan a visit",
    "watch": "Keep an eye on it",
    "record": "Noted",
}
# What has ended asks for nobody, however urgent it was.
OVER = "Over"
URGENCY_RANK: dict[Urgency, int] = {"act": 0, "visit": 1, "watch": 2, "record": 3}

_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_SIGNS = {"GBP": "£", "EUR": "€", "USD": "$"}


def known(value: float | None) -> bool:
    """Say whether there is a finite number."""
    return value is not None and math.isfinite(value)


def number(value: float | None, *, decimals: int = 0) -> str:
    """Write a number with a comma per thousand: `1,109`, `5.3`; negative with a true minus."""
    if value is None or not math.isfinite(value):
        return NOT_MEASURED
    rounded = round(value, decimals)
    text = f"{abs(rounded):,.{max(decimals, 0)}f}"
    return f"−{text}" if rounded < 0 else text


def decimals_for(half_width: float) -> int:
    """Give the decimals that an uncertainty of this half width leaves meaningful."""
    if half_width == 0.0:
        return 1
    for decimals, least in ((-1, 200.0), (0, 2.0), (1, 0.2)):
        if abs(half_width) >= least:
            return decimals
    return 2


def bounded(bound: Bounded | None, unit: str = "kWh", *, unknown: str = NOT_MEASURED) -> str:
    """Write a figure with its bounds: `981 kWh, likely between 853 and 1,109`.

    "Likely" is what this project calls a 95 % interval.
    """
    if bound is None or not known(bound.value):
        return unknown
    if not (known(bound.low) and known(bound.high)):
        return quantity(bound.value, unit)
    decimals = decimals_for((bound.high - bound.low) / 2.0)
    low, high = number(bound.low, decimals=decimals), number(bound.high, decimals=decimals)
    value = f"{number(bound.value, decimals=decimals)} {unit}".rstrip()
    return value if low == high else f"{value}, likely between {low} and {high}"


def bounded_parts(bound: Bounded | None) -> tuple[str, str, str] | None:
    """Give value, low and high as text, equally rounded, for layouts that set them apart."""
    if bound is None or not (known(bound.value) and known(bound.low) and known(bound.high)):
        return None
    decimals = decimals_for((bound.high - bound.low) / 2.0)
    value, low, high = (
        number(part, decimals=decimals) for part in (bound.value, bound.low, bound.high)
    )
    return value, low, high


def bound_of(value: float | None, low: float | None, high: float | None) -> Bounded | None:
    """Put value, low and high together; None when one of them is unknown."""
    if value is None or low is None or high is None:
        return None
    return Bounded(value=value, low=low, high=high)


def quantity(value: float | None, unit: str, *, unknown: str = NOT_MEASURED) -> str:
    """Write a number without bounds with its unit, to about three digits: `96.4 °C`."""
    if value is None or not math.isfinite(value):
        return unknown
    size = abs(value)
    decimals = 0 if size >= 100 or value == round(value) else 1 if size >= 10 else 2
    text = number(value, decimals=decimals)
    return text if unit in ("", "-", "1") else f"{text} {unit}"


def share(frac: float | None) -> str:
    """Write a share as per cent; only what is whole reads 100 %, only what is nothing 0 %."""
    if frac is None or not math.isfinite(frac):
        return UNKNOWN
    percent = frac * 100.0
    if 0.0 < percent < 0.1:
        return "under 0.1 %"
    if 99.0 < percent < 100.0:
        return f"{math.floor(percent * 10.0) / 10.0:.1f} %"
    return f"{percent:.0f} %"


def money(value: float | None, currency: str | None) -> str:
    """Write an amount of money: `£52.60`, `52.60 CHF`; whole from a thousand on."""
    if value is None or not math.isfinite(value):
        return UNKNOWN
    text = number(value, decimals=0 if abs(value) >= 1000 else 2)
    sign = _SIGNS.get((currency or "").upper())
    if sign is None:
        return f"{text} {currency}" if currency else text
    return f"−{sign}{text[1:]}" if text.startswith("−") else f"{sign}{text}"


def money_bounded(bound: Bounded | None, currency: str | None) -> str:
    """Write an amount with its bounds: `£26, likely between £21 and £31`; pennies below ten."""
    if bound is None or not known(bound.value):
        return UNKNOWN
    whole = bound.high >= 10.0
    value, low, high = (
        money(round(part) if whole else part, currency)
        for part in (bound.value, bound.low, bound.high)
    )
    if whole:
        value, low, high = (text.replace(".00", "") for text in (value, low, high))
    return value if low == high else f"{value}, likely between {low} and {high}"


@lru_cache(maxsize=64)
def _zone(timezone: str) -> ZoneInfo:
    return ZoneInfo(timezone)


def local(time_s: int | float, timezone: str) -> datetime:
    """Give the site's wall-clock time without a zone, as figures need it."""
    return datetime.fromtimestamp(time_s, _zone(timezone)).replace(tzinfo=None)


def local_date(time_s: int | float, timezone: str) -> date:
    """Give the site's civil day that holds an instant."""
    return local(time_s, timezone).date()


def day(when: date | None, *, year: bool = True, weekday: bool = False) -> str:
    """Write a day: `3 May 2025`."""
    if when is None:
        return UNKNOWN
    text = f"{when.day} {_MONTHS[when.month - 1]}"
    text = f"{text} {when.year}" if year else text
    return f"{_DAYS[when.weekday()]} {text}" if weekday else text


def day_of(time_s: int | float | None, timezone: str) -> str:
    """Write the day that holds an instant, in the site's zone."""
    return UNKNOWN if time_s is None else day(local_date(time_s, timezone))


def moment(time_s: int | float | None, timezone: str) -> str:
    """Write an instant in the site's zone: `3 May 2025, 09:10`."""
    if time_s is None:
        return UNKNOWN
    when = local(time_s, timezone)
    return f"{day(when.date())}, {when:%H:%M}"


def month(name: str) -> str:
    """Write a month given as `2025-06`: `June 2025`."""
    year, number_ = name.split("-")
    return f"{_MONTHS[int(number_) - 1]} {year}"


def span(start_s: int, end_s: int | None, timezone: str) -> str:
    """Write the days that a half-open span touches: `3 May to 12 July 2025`, `since 3 May 2025`."""
    first = local_date(start_s, timezone)
    if end_s is None:
        return f"since {day(first)}"
    last = local_date(max(end_s - 1, start_s), timezone)
    if first == last:
        return day(first)
    if first.year != last.year:
        return f"{day(first)} to {day(last)}"
    if first.month != last.month:
        return f"{day(first, year=False)} to {day(last)}"
    return f"{first.day} to {day(last)}"


def duration(length_s: float) -> str:
    """Write a length of time in the one unit that suits it: `40 minutes`, `3 hours`, `70 days`."""
    for size_s, word in ((86400.0, "day"), (3600.0, "hour"), (60.0, "minute")):
        count = round(length_s / size_s)
        if length_s >= 1.5 * size_s or (count >= 1 and word == "minute"):
            return f"{count:,} {word}" if count == 1 else f"{count:,} {word}s"
    return "under a minute"


def ago(then_s: int | float | None, *, now_s: int | float) -> str:
    """Write how long ago something was: `20 minutes ago`, `just now`, or `never`."""
    if then_s is None:
        return "never"
    passed = now_s - then_s
    return "just now" if passed < 90 else f"{duration(passed)} ago"


def urgency(value: Urgency) -> str:
    """Write an urgency in words."""
    return URGENCY_WORDS[value]


def kind_words(kind: str) -> str:
    """Write a kind's name where no text of the catalogue is at hand: `Lost circulation`."""
    return kind.replace("_", " ").capitalize()


def sentence(text: str) -> str:
    """Give a text as a sentence: with a capital first and a full stop."""
    plain = text.strip()
    if not plain:
        return ""
    return f"{plain[0].upper()}{plain[1:]}{'' if plain[-1] in '.!?' else '.'}"


def listed(texts: Iterable[str]) -> str:
    """Write texts that begin with a capital as one run: `No data, pump never stops`."""
    first, *others = [*texts] or [""]
    return ", ".join([first, *(f"{one[:1].lower()}{one[1:]}" for one in others)])


def plural(count: int, one: str, many: str | None = None) -> str:
    """Write a count with its noun: `1 day`, `3 days`."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"
