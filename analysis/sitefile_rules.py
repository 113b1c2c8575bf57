"""What one value in a site file may be, and how the refusal of another reads.

A `Rule` is data: kind, span, unit, choices. `accept` turns a raw TOML value into the value that
the dataclasses hold, or raises `RefusedError` with what is allowed.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import pairwise
from typing import Literal
from zoneinfo import ZoneInfo

Kind = Literal[
    "number",
    "integer",
    "text",
    "choice",
    "flag",
    "date",
    "zone",
    "numbers",
    "texts",
    "hours",
    "class_or_number",
    "instant",
    "time_format",
]


class RefusedError(Exception):
    """A value breaks its rule; the text says what is allowed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """What one key may hold.

    Attributes
    ----------
    kind : what sort of value it is
    lowest, highest : the span of a number, or of each number of a list [unit]
    unit : in words, for messages
    choices : the words allowed
    required : whether the key must stand in its table
    default : what the key means when it is missing
    field : name of the attribute that holds it, where it differs from the key
    length : how many numbers a list must have
    rising : whether the numbers of a list must rise
    """

    kind: Kind = "number"
    lowest: float = -1e15
    highest: float = 1e15
    unit: str = ""
    choices: tuple[str, ...] = ()
    required: bool = False
    default: object = None
    field: str | None = None
    length: int | None = None
    rising: bool = False

    def allowed(self) -> str:
        """Say in words what the key may hold."""
        return _ALLOWED[self.kind](self)


def _span(rule: Rule) -> str:
    unit = f" {rule.unit}" if rule.unit else ""
    return f"{rule.lowest:.15g} to {rule.highest:.15g}{unit}"


def _list_words(rule: Rule) -> str:
    count = f"{rule.length} numbers" if rule.length else "a list of numbers"
    return f"{count}, each {_span(rule)}{', rising' if rule.rising else ''}"


_ALLOWED: dict[Kind, Callable[[Rule], str]] = {
    "number": lambda rule: f"a number, {_span(rule)}",
    "integer": lambda rule: f"a whole number, {_span(rule)}",
    "text": lambda rule: "a text in quotes",
    "choice": lambda rule: " | ".join(f'"{choice}"' for choice in rule.choices),
    "flag": lambda rule: "true or false",
    "date": lambda rule: "a date without quotes, such as 2024-05-31",
    "zone": lambda rule: 'an IANA time zone name, such as "Europe/London"',
    "numbers": _list_words,
    "texts": lambda rule: "a list of texts",
    "hours": lambda rule: "a list of [from, to] pairs of hours, 0 to 24",
    "class_or_number": lambda rule: (
        " | ".join(f'"{choice}"' for choice in rule.choices) + f", or a number, {_span(rule)}"
    ),
    "instant": lambda rule: 'an instant with zone, such as "2025-01-01T00:00:00Z"',
    "time_format": lambda rule: (
        'a format of % signs that gives day and time, such as "%d.%m.%Y %H:%M"'
    ),
}


def accept(rule: Rule, value: object) -> object:
    """Give the value as the dataclasses hold it.

    Parameters
    ----------
    rule : Rule
        What is allowed.
    value : object
        The raw value that the TOML reader gave.

    Returns
    -------
    object
        float, int, str, bool, date, datetime or a tuple of these.

    Raises
    ------
    RefusedError
        The value is of another sort or outside its span.
    """
    return _ACCEPT[rule.kind](rule, value)


def shown(value: object) -> str:
    """Show a raw value the way it stands in the file, shortened."""
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        text = f'"{value}"'
    elif isinstance(value, date):
        text = value.isoformat()
    elif isinstance(value, dict):
        text = "a table"
    elif isinstance(value, int) and abs(value) > 10**40:
        text = "a number of more than 40 digits"
    else:
        text = str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _number(rule: Rule, value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise RefusedError
    if not rule.lowest <= value <= rule.highest:  # NaN fails too
        raise RefusedError
    return float(value)


def _integer(rule: Rule, value: object) -> int:
    number = _number(rule, value)
    if number != math.floor(number):
        raise RefusedError
    return int(number)


def _text(rule: Rule, value: object) -> str:
    if not isinstance(value, str) or not value.strip():
        raise RefusedError
    return value


def _choice(rule: Rule, value: object) -> str:
    if not isinstance(value, str) or value not in rule.choices:
        raise RefusedError
    return value


def _flag(rule: Rule, value: object) -> bool:
    if not isinstance(value, bool):
        raise RefusedError
    return value


def _date(rule: Rule, value: object) -> date:
    if isinstance(value, datetime) or not isinstance(value, date):
        raise RefusedError
    if not 1950 <= value.year <= 2200:
        raise RefusedError
    return value


def _zone(rule: Rule, value: object) -> str:
    name = _text(rule, value)
    try:
        ZoneInfo(name)
    except (ValueError, OSError, KeyError) as error:  # ZoneInfoNotFoundError is a KeyError
        raise RefusedError from error
    return name


def _list(value: object) -> list[object]:
    if not isinstance(value, list):
        raise RefusedError
    return value


def _numbers(rule: Rule, value: object) -> tuple[float, ...]:
    numbers = tuple(_number(rule, one) for one in _list(value))
    if not numbers or (rule.length is not None and len(numbers) != rule.length):
        raise RefusedError
    if rule.rising and any(b <= a for a, b in pairwise(numbers)):
        raise RefusedError
    return numbers


def _texts(rule: Rule, value: object) -> tuple[str, ...]:
    return tuple(_text(rule, one) for one in _list(value))


def _hours(rule: Rule, value: object) -> tuple[tuple[float, float], ...]:
    pairs = []
    for one in _list(value):
        pair = _numbers(rule, one)
        if len(pair) != 2 or pair[0] == pair[1]:
            raise RefusedError
        pairs.append((pair[0], pair[1]))
    return tuple(pairs)


def _class_or_number(rule: Rule, value: object) -> str | float:
    return _choice(rule, value) if isinstance(value, str) else _number(rule, value)


def _instant(rule: Rule, value: object) -> datetime:
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value)
        except ValueError as error:
            raise RefusedError from error
    if not isinstance(value, datetime) or value.tzinfo is None:
        raise RefusedError
    return value


def _time_format(rule: Rule, value: object) -> str:
    text = _text(rule, value)
    moment = datetime(2031, 12, 23, 17, 58, tzinfo=UTC)
    try:
        again = datetime.strptime(moment.strftime(text), text)  # noqa: DTZ007
    except ValueError as error:
        raise RefusedError from error
    if again.replace(tzinfo=UTC) != moment:
        raise RefusedError
    return text


_ACCEPT: dict[Kind, Callable[[Rule, object], object]] = {
    "number": _number,
    "integer": _integer,
    "text": _text,
    "choice": _choice,
    "flag": _flag,
    "date": _date,
    "zone": _zone,
    "numbers": _numbers,
    "texts": _texts,
    "hours": _hours,
    "class_or_number": _class_or_number,
    "instant": _instant,
    "time_format": _time_format,
}
