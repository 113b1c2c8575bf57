"""Numbers as loggers write them: decimal sign, signs between thousands, units inside cells.

A cell is read only where it has one meaning. `1.234,5` has; `1.234` beside decimal commas has two,
unless the file shows elsewhere that it puts points between thousands.
"""

import math
import re
from dataclasses import dataclass
from typing import Literal

from analysis.logs.conversions import UNITS, folded_unit

# What can stand between thousands without being taken for a decimal sign: blank, no-break, thin
# and narrow no-break space, apostrophes.
_GAPS = " \u00a0\u2009\u202f'\u2019"
_MINUS = str.maketrans({"\u2212": "-", "\u2013": "-"})
_MINUS_SIGNS = ("\u2212", "\u2013")
_EXPONENT = r"(?:[eE][+-]?\d{1,3})?"
_PLAIN = {
    sign: re.compile(rf"[+-]?(?:\d+(?:\{sign}\d*)?|\{sign}\d+){_EXPONENT}", re.ASCII)
    for sign in ".,"
}
_GAPPED = {
    sign: re.compile(rf"[+-]?\d{{1,3}}(?:[{_GAPS}]\d{{3}})+(?:\{sign}\d*)?") for sign in ".,"
}
# Both signs, or the sign between thousands twice: nothing else can be meant.
_PROVEN = {
    ".": re.compile(r"[+-]?[1-9]\d{0,2}(?:(?:,\d{3})+\.\d+|(?:,\d{3}){2,})", re.ASCII),
    ",": re.compile(r"[+-]?[1-9]\d{0,2}(?:(?:\.\d{3})+,\d+|(?:\.\d{3}){2,})", re.ASCII),
}
_UNPROVEN = {
    ".": re.compile(r"[+-]?[1-9]\d{0,2},\d{3}", re.ASCII),
    ",": re.compile(r"[+-]?[1-9]\d{0,2}\.\d{3}", re.ASCII),
}
_WITH_UNIT = re.compile(
    rf"(?P<number>[+-]?[\d.,{_GAPS}]*\d[.,]?{_EXPONENT})\s*(?P<unit>[^\d\s.,+-][^\d;|\t]*\d?(?:/\S+)?)"
)
_UNIT_WORDS = frozenset(word for table in UNITS.values() for word in table if word)


# What most cells are: a number under either decimal sign.
_COMMON = re.compile(r"-?\d{1,15}(?:[.,]\d{1,12})?", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberStyle:
    """How the numbers of a file are written.

    Attributes
    ----------
    decimal : the decimal sign
    thousands : the sign between thousands that the file proves, "" where it proves none; blanks
        and apostrophes need no proof
    open : whether nothing in the file tells its decimal sign: what depends on it has no value
    """

    decimal: Literal[".", ","]
    thousands: str = ""
    open: bool = False

    def value(self, text: str) -> float | None:
        """Read one number without a unit; None where it is none or has two meanings."""
        bare = _signed(text)
        if self.open and any(one.fullmatch(bare) for one in _UNPROVEN.values()):
            return None
        if _PLAIN[self.decimal].fullmatch(bare):
            return _finite(bare, self.decimal)
        grouped = _PROVEN[self.decimal].fullmatch(bare) or _GAPPED[self.decimal].fullmatch(bare)
        if not grouped and self.thousands:
            grouped = _UNPROVEN[self.decimal].fullmatch(bare)
        if not grouped:
            return None
        other = "," if self.decimal == "." else "."
        for sign in (other, *_GAPS):
            bare = bare.replace(sign, "")
        return _finite(bare, self.decimal)

    def two_meanings(self, text: str) -> bool:
        """Tell whether a cell is a number only if its sign stands between thousands."""
        bare = text.strip()
        if self.open:
            return any(one.fullmatch(bare) for one in _UNPROVEN.values())
        return not self.thousands and bool(_UNPROVEN[self.decimal].fullmatch(bare))


def _signed(text: str) -> str:
    """Give a number with its minus as a hyphen in front, where some programs put it behind."""
    bare = text.strip()
    if not bare.isascii():
        bare = bare.translate(_MINUS)
    return f"-{bare[:-1]}" if bare[-1:] == "-" and bare[:1].isdigit() else bare


def _finite(bare: str, decimal: str) -> float | None:
    value = float(bare.replace(",", ".") if decimal == "," else bare)
    return value if math.isfinite(value) else None


def meanings(text: str) -> tuple[float, ...]:
    """Give what a number that a person typed may mean, whichever decimal sign is theirs.

    Parameters
    ----------
    text : str
        Such as `1.234,5` or `12 345.6`; of `1.234` nobody can tell.

    Returns
    -------
    tuple of float
        None, one, or two, the one with a decimal point first.
    """
    found = (
        NumberStyle(decimal=".", thousands=",").value(text),
        NumberStyle(decimal=",", thousands=".").value(text),
    )
    return tuple(dict.fromkeys(value for value in found if value is not None))


def split_unit(text: str) -> tuple[str, str] | None:
    """Split a cell such as `60,5 °C` into number and unit; None where it holds no known unit."""
    match = _WITH_UNIT.fullmatch(text.strip().translate(_MINUS))
    if match is None or not is_unit(match["unit"]):
        return None
    return match["number"].strip(), match["unit"].strip()


def is_unit(text: str) -> bool:
    """Tell whether a text is a unit that logs are written in, in any spelling or brackets."""
    return folded_unit(text.strip().strip("[]()<>")) in _UNIT_WORDS


def looks_like_number(text: str) -> bool:
    """Tell whether a cell is a number in some style, with or without a unit."""
    bare = text.strip()
    if _COMMON.fullmatch(bare):
        return True
    if bare[:1].isalpha() or not any(sign.isdigit() for sign in bare[:40]):
        return False
    if any(
        style.value(bare) is not None or style.two_meanings(bare)
        for style in (NumberStyle(decimal="."), NumberStyle(decimal=","))
    ):
        return True
    split = split_unit(bare)
    return split is not None and looks_like_number(split[0])


def decimal_evidence(cells: list[str]) -> tuple[int, int, int]:
    """Count the cells that prove a decimal point, that prove a comma, and that could be either."""
    point = comma = either = 0
    for cell in cells:
        bare = cell.strip()
        if bare[-1:].isalpha() or bare[-1:] in "%°²³":
            split = split_unit(bare)
            bare = split[0] if split is not None else bare
        if _PROVEN["."].fullmatch(bare) and "." in bare:
            point += 1
        elif _PROVEN[","].fullmatch(bare) and "," in bare:
            comma += 1
        elif _UNPROVEN["."].fullmatch(bare) or _UNPROVEN[","].fullmatch(bare):
            either += 1
        elif "." in bare and (_PLAIN["."].fullmatch(bare) or _GAPPED["."].fullmatch(bare)):
            point += 1
        elif "," in bare and (_PLAIN[","].fullmatch(bare) or _GAPPED[","].fullmatch(bare)):
            comma += 1
    return point, comma, either
