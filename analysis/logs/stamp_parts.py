"""Stamps whose year, month, day, hour and minute stand in columns of their own.

Heads tell which is which, in any order; a map does by the channels `year` to `second`. Without
heads the leading columns are tried in the usual orders, and only the one that the rows allow is
taken.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise, product

from analysis.logs.stamp_formats import looks_like_time_of_day
from analysis.logs.stamps import CLOCK, StampFormat

PARTS = {"year": "y", "month": "m", "day": "d", "hour": "H", "minute": "M", "second": "S"}
# Trade words and the letters of patterns such as YY;MM;DD;hh;mm (common practice, no source).
_WORDS = {
    "y": "year years yr yy yyyy y jahr jj jjjj année annee aa aaaa año ano anno jaar",
    "m": "month months mon mo mm m monat mois mes mese maand",
    "d": "day days dd d tag tt jour jj día dia giorno gg dag",
    "j": "doy jday yday dayofyear day_of_year jultag dagvanjaar",
    "H": "hour hours hr hh h stunde std heure hora ora uur uu",
    "M": "minute minutes min mi mn mm minuten minuto minuut",
    "S": "second seconds sec ss s sekunde sek seconde segundo secondo",
}
_PARTS_OF: dict[str, str] = {}
for _part, _words in _WORDS.items():
    for _word in _words.split():
        _PARTS_OF[_word] = _PARTS_OF.get(_word, "") + _part
_SPANS = {"m": (1, 12), "d": (1, 31), "j": (1, 366), "H": (0, 24), "M": (0, 59), "S": (0, 59)}
_SHORT_YEARS, _LONG_YEARS = (5, 99), (1990, 2100)
_SAYS = dict(zip("ymdHMS", PARTS, strict=True)) | {"j": "day of the year"}
_WHOLE = re.compile(r"(\d{1,4})(?:[.,]0+)?", re.ASCII)
_LONGER = 10
_ORDERS = ("ymdHMS", "dmyHMS", "mdyHMS", "ymdHM", "dmyHM", "mdyHM")


@dataclass(frozen=True, slots=True, kw_only=True)
class PartsFound:
    """Columns that together hold the stamp, in the order of the file, and how they are read."""

    places: tuple[int, ...]
    format: StampFormat


def parts_told(said: Mapping[str, int], rows: Sequence[Sequence[str]]) -> PartsFound | None:
    """Give the stamp of the columns that a map names, None where it names no whole date.

    Parameters
    ----------
    said : channel to place; also `time_of_day`
    rows : sample rows as cells
    """
    told = {said[name]: part for name, part in PARTS.items() if name in said}
    if not set("ymd") <= set(told.values()):
        return None
    return _found(told, rows, clock=said.get("time_of_day"))


def parts_by_heads(
    heads: Sequence[str], free: Sequence[int], rows: Sequence[Sequence[str]]
) -> PartsFound | None:
    """Give the stamp of the columns whose heads name its parts, None where they name no date."""
    named = [place for place in free if _folded(heads[place]) in _PARTS_OF]
    options = [(*_fitting(_PARTS_OF[_folded(heads[place])], place, rows), "") for place in named]
    best: tuple[tuple[int, int], dict[int, str]] | None = None
    for parts in product(*options):
        told = {place: part for place, part in zip(named, parts, strict=True) if part}
        if len(set(told.values())) < len(told) or not _whole_date(told.values()):
            continue
        place_of = {part: place for place, part in told.items()}
        pairs = [(a, b) for a, b in pairwise("HMS") if {a, b} <= set(place_of)]
        rising = sum(place_of[a] < place_of[b] for a, b in pairs)
        if best is None or (len(told), rising) > best[0]:
            best = ((len(told), rising), told)
    if best is None:
        return None
    clocks = [
        place
        for place in free
        if place not in best[1] and looks_like_time_of_day([row[place] for row in rows])
    ]
    return _found(best[1], rows, clock=clocks[0] if clocks else None)


def parts_by_rows(free: Sequence[int], rows: Sequence[Sequence[str]]) -> list[PartsFound]:
    """Give the ways in which the leading columns make stamps that rise, or fall, row by row."""
    found: dict[PartsFound, int] = {}
    for order in _ORDERS:
        told = dict(zip(range(len(order)), order, strict=True))
        if not set(told) <= set(free):
            continue
        if not all(_fitting(part, place, rows) for place, part in told.items()):
            continue
        one = _found(told, rows, clock=None)
        stamps = [] if one is None else [one.format.one(_joined(one.places, row)) for row in rows]
        known = [stamp for stamp in stamps if stamp is not None]
        steps = {two > three for two, three in pairwise(known)}
        if one is None or len(known) < len(rows) or len(known) < 2 or len(steps) > 1:
            continue
        if len(set(known)) == len(known) and not any(other.places > one.places for other in found):
            found[one] = abs(known[-1] - known[0])
    # Midnight read as the turn of a year makes days into years.
    shortest = min(found.values(), default=0)
    return [one for one, span_s in found.items() if span_s <= _LONGER * shortest]


def _whole_date(parts: Iterable[str]) -> bool:
    return set("ymd") <= set(parts) or (set("yj") <= set(parts) and not set("md") & set(parts))


def _folded(head: str) -> str:
    bare = head.strip().strip("[](){}<>").strip().lower().rstrip(".")
    return bare.replace(" ", "_") if " " in bare else bare


def _joined(places: Sequence[int], row: Sequence[str]) -> str:
    return " ".join(row[place].strip() for place in places)


def _fitting(parts: str, place: int, rows: Sequence[Sequence[str]]) -> list[str]:
    """Give the parts that all values of a column can be."""
    matches = [_WHOLE.fullmatch(row[place].strip()) for row in rows]
    values = [int(match[1]) for match in matches if match is not None]
    if len(values) < len(rows) or not values:
        return []
    low, high = min(values), max(values)
    fits = []
    for part in parts:
        spans = (_SHORT_YEARS, _LONG_YEARS) if part == "y" else (_SPANS[part],)
        if any(first <= low and high <= last for first, last in spans):
            fits.append(part)
    return fits


def _found(
    told: Mapping[int, str], rows: Sequence[Sequence[str]], *, clock: int | None
) -> PartsFound | None:
    places = sorted((*told, *([] if clock is None or "H" in told.values() else [clock])))
    year = next(place for place, part in told.items() if part == "y")
    long = any(len(row[year].strip()) >= 4 for row in rows)
    pieces = [
        CLOCK
        if place not in told
        else r"(?P<Y>\d{4})(?:[.,]0+)?"
        if told[place] == "y" and long
        else rf"(?P<{told[place]}>\d{{1,{3 if told[place] == 'j' else 2}}})(?:[.,]0+)?"
        for place in places
    ]
    names = [_SAYS[told[place]] if place in told else "time of day" for place in places]
    pattern = re.compile(r"\s+".join(pieces), re.ASCII)
    form = StampFormat(says=f"{', '.join(names)} in columns of their own", pattern=pattern)
    fits = sum(form.one(_joined(places, row)) is not None for row in rows)
    if fits * 2 < len(rows):
        return None
    return PartsFound(places=tuple(places), format=form)
