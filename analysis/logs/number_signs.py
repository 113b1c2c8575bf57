"""Which signs stand in the numbers of a file: found from its head and from spots all through it."""

import re
from typing import Literal

from analysis.logs.cells import cells_of, is_stamp
from analysis.logs.numbers import NumberStyle, decimal_evidence
from analysis.logs.words import MISSING_FOLDED
from analysis.site import LogMap

_QUOTED_COMMA = re.compile(rb'"[^"\n\d]{0,3}\d+(?:,\d+)+(?:\.\d+)?[^"\n\d]{0,8}"')
_SPOT, _SPOTS = 1024, 40
# Engineering judgement: three columns that never fall below a thousand have decimals instead.
_SURELY_DECIMALS, _FEWEST_CELLS = 3, 5


def find_numbers(
    samples: tuple[tuple[str, ...], ...], text: bytes, delimiter: str, told: LogMap
) -> tuple[NumberStyle, str, bool]:
    """Find the signs in numbers; a number that stays open, if any; and whether signs differ."""
    if told.decimal is not None:
        other = "," if told.decimal == "." else "."
        return NumberStyle(decimal=told.decimal, thousands=other), "", False
    # In a comma separated file only a number in quotes can hold a comma.
    if delimiter == "," and (b'"' not in text or _QUOTED_COMMA.search(text) is None):
        return NumberStyle(decimal="."), "", False
    cells = [cell.strip() for row in samples for cell in row if _may_tell(cell)]
    cells += [cell.strip() for cell in _spot_cells(text, delimiter) if _may_tell(cell)]
    cells = list(dict.fromkeys(cells))
    point, comma, either = decimal_evidence(cells)
    decimal: Literal[".", ","] = "," if comma > point else "."
    if point or comma or not either:
        style = NumberStyle(decimal=decimal, thousands=_thousands(cells))
        doubt = next((cell for cell in cells if style.two_meanings(cell)), "")
        return style, "" if point and comma else doubt, bool(point and comma)
    columns = list(zip(*samples, strict=True))
    if sum(_always_decimals(column) for column in columns) >= _SURELY_DECIMALS:
        return NumberStyle(decimal="," if "," in "".join(cells) else "."), "", False
    open_cell = next(cell for cell in cells if decimal_evidence([cell])[2])
    return NumberStyle(decimal="," if "," in open_cell else ".", open=True), open_cell, False


def _always_decimals(column: tuple[str, ...]) -> bool:
    """Tell whether each number of a column has a sign and three digits after it."""
    held = [cell.strip() for cell in column if cell.strip().lower() not in MISSING_FOLDED]
    return len(set(held)) >= _FEWEST_CELLS and decimal_evidence(held)[2] == len(held)


def _may_tell(cell: str) -> bool:
    """Tell whether a cell holds a sign that can be a decimal one, and is no date."""
    signs = cell.count(".") + cell.count(",")
    if signs < 2 or ":" in cell:
        return signs == 1
    return not is_stamp(cell.strip(), None)


def _thousands(cells: list[str]) -> str:
    """Give the sign that stands left of the other one in some number, "" where none does."""
    for cell in cells:
        point, comma = cell.find("."), cell.find(",")
        if point >= 0 and comma >= 0 and decimal_evidence([cell])[2] == 0:
            return "." if point < comma else ","
    return ""


def _spot_cells(text: bytes, delimiter: str) -> list[str]:
    """Give the cells of whole lines from spots all through a text."""
    found: list[str] = []
    for at in range(0, len(text), max(_SPOT, len(text) // _SPOTS)):
        spot = text[at : at + _SPOT].decode("utf-8", errors="replace")
        for line in spot.split("\n")[1:-1] or [spot]:
            found.extend(cells_of(line, delimiter))
    return found
