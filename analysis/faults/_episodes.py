"""The spells that happenings form, and the days between them."""

from collections.abc import Callable, Sequence
from datetime import date

from analysis.days import Happening


def spells(
    items: Sequence[Happening], *, broken: Callable[[Happening, Happening], bool]
) -> list[list[Happening]]:
    """Group happenings in order of start; `broken` says where one spell ends and another begins."""
    groups: list[list[Happening]] = []
    for item in items:
        if groups and not broken(groups[-1][-1], item):
            groups[-1].append(item)
        else:
            groups.append([item])
    return groups


def days_between(first: str, second: str) -> int:
    """Give how many days lie from one local date to another."""
    return (date.fromisoformat(second) - date.fromisoformat(first)).days
