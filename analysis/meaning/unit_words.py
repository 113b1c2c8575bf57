"""The unit that a header prints: found, taken off, and named as `[log.columns]` names it."""

import re
from dataclasses import dataclass

from analysis.logs.cells import LONGEST_HEAD
from analysis.logs.conversions import UNITS, folded_unit
from analysis.meaning.words import read_header

# Spellings beyond those of the conversions, folded; common practice, no source.
_SPELLINGS = {
    "oc": "c",
    "gradc": "c",
    "grad": "c",
    "deg": "c",
    "degk": "k",
    "degreesc": "c",
    "degreec": "c",
    "degreesf": "f",
    "fahrenheit": "f",
    "kelvins": "k",
    "l/mn": "l/min",
    "l/m": "l/min",
    "lt/min": "l/min",
    "ltr/min": "l/min",
    "lmin": "l/min",
    "ltr/h": "l/h",
    "lt/h": "l/h",
    "l/hr": "l/h",
    "l/std": "l/h",
    "l/u": "l/h",
    "l/uur": "l/h",
    "lh": "l/h",
    "m3/hr": "m3/h",
    "m3h": "m3/h",
    "cbm/h": "m3/h",
    "cbm": "m3",
    "qm": "m2",
    "w/mq": "w/m2",
    "wm-2": "w/m2",
    "wm2": "w/m2",
    "w/m": "w/m2",
    "kwm-2": "kw/m2",
    "ltr": "l",
    "lt": "l",
    "lit": "l",
    "liters": "l",
    "liter": "l",
    "watt": "w",
    "watts": "w",
    "kilowatt": "kw",
    "mbars": "mbar",
    "bars": "bar",
    "barg": "bar",
    "hpa": "mbar",
    "psig": "psi",
    "pct": "%",
    "prozent": "%",
    "proz": "%",
    "01": "0/1",
    "0/1": "0/1",
    "onoff": "on/off",
    "on/off": "on/off",
    "ein/aus": "on/off",
    "an/aus": "on/off",
    "marche/arret": "on/off",
    "marcha/paro": "on/off",
    "aan/uit": "on/off",
    "std": "h",
    "hrs": "h",
    "hr": "h",
    "hours": "h",
    "heures": "h",
    "stunden": "h",
    "uur": "h",
    "ms-1": "m/s",
    "kmh": "km/h",
    "kph": "km/h",
    "knots": "kn",
}
# Units of one letter are units only where brackets or a blank at the end set them off.
_LOOSE = re.compile(
    r"(?<![^\W\d_])((?:0[.,]0?1|1/100?)\s?[°º]\s?[cf]|[°º]\s?[cf]\s?(?:/|[x*×])\s?100?(?!\d)|"
    r"°\s?[cfCF]|º\s?[cfCF]|degc|degf|k?wh|mwh|gj|mj|k?w\s?/\s?m(?:2|²|\^2|q)|"
    r"l\s?/\s?min|l\s?/\s?mn|l\s?/\s?h|l\s?/\s?s|m[3³]\s?/\s?h|kg\s?/\s?h|kg\s?/\s?s|"
    r"k?btu\s?/\s?hr?|btuh|k?btu|[kmg]cal(?:\s?/\s?h)?|kj|gal\s?/\s?h|"
    r"(?:m?bar|kpa|hpa|psi)[\s_]?(?:\((?:abs|a)\)|(?:abs(?:olute?)?|a)\b)|"
    r"lpm|lph|gpm|gph|m[3³]|mbar|bar|kpa|psi|hpa|km/h|m/s|kw|%|"
    r"on\s?/\s?off|ein\s?/\s?aus|an\s?/\s?aus|marche\s?/\s?arr[eê]t|marcha\s?/\s?paro|"
    r"aan\s?/\s?uit|0\s?/\s?1)(?![^\W\d_])",
    re.IGNORECASE,
)
_BRACKETS = re.compile(r"\s*[\[({<]\s*([^\])}>]{0,16}?)\s*[\])}>]\s*")
_LAST = re.compile(r"[\s_]([a-zA-Z°º]{1,3})$")
_AT_THE_END = frozenset(
    {"c", "f", "k", "w", "l", "kw", "kwh", "mwh", "wh", "mj", "bar", "psi", "m3"}
)
# `bar(a)` and `kWh(th)` within brackets.
_INNER = re.compile(r"(?<=[^\W\d_])\(([^\W\d_]+)\)(?=\s*[\])])")
# A power of ten apart from its unit; `2 x 1000 l` is the size of two stores.
_APART = re.compile(r"(?<![^\W_])(?<!\d\s)[*x×]\s?10{1,3}(?!\w)", re.IGNORECASE)
_WORDS = re.compile(r"[^\W\d_]+")
_NAME = re.compile(r"[a-z]{0,3}[\s_.]?\d+|\d+[a-z]?", re.IGNORECASE)
# Units whose stroke is written as an underscore, behind another one.
_UNDERSCORED = re.compile(r"_(l_min|l_h|m3_h|w_m2|kw_m2|m_s|km_h|kg_h|kg_s|l_s)$", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitFound:
    """A unit in a header.

    Attributes
    ----------
    quantities : the quantities that know this unit, as in `analysis.logs.conversions`
    unit : as the conversions spell it; "" where none was found
    text : the header without it
    unread : what stands where a unit or its scale does and is not known, else ""
    """

    quantities: tuple[str, ...]
    unit: str
    text: str
    unread: str = ""


def find_unit(head: str, *, unit_head: str = "") -> UnitFound:
    """Find the unit in a header.

    Parameters
    ----------
    head : str
        Header text.
    unit_head : str
        Unit as a line of units prints it; it goes first.

    Returns
    -------
    UnitFound
        The unit and the text without it.
    """
    named = _known(unit_head[:LONGEST_HEAD])
    head = _INNER.sub(r" \1", head[:LONGEST_HEAD])
    head = _UNDERSCORED.sub(lambda match: " " + match[1].replace("_", "/"), head)
    found: list[tuple[str, tuple[str, ...], str]] = []
    unread, strange = "", list[tuple[int, int]]()
    for match in _BRACKETS.finditer(head):
        inside = _known(match[1])
        if inside is not None:
            found.append((*inside, f"{head[: match.start()]} {head[match.end() :]}"))
        elif _like_a_unit(match[0].strip(), match[1]):
            unread = unread or match[1]
            strange.append(match.span())
    for match in _LOOSE.finditer(head):
        if any(start <= match.start() < stop for start, stop in strange):
            continue
        inside = _known(match[1])
        if inside is not None:
            # On and off stay in the text as well: they speak of a pump or a relay.
            found.append((*inside, f"{head[: match.start()]} {head[match.end() :]}"))
    last = _LAST.search(head)
    if not found and last is not None and named is None:
        inside = _known(last[1])
        if inside is not None and inside[0] in _AT_THE_END:
            found.append((*inside, head[: last.start()]))
    if named is not None:
        text = next((text for unit, _, text in found if unit == named[0]), head)
        return UnitFound(quantities=named[1], unit=named[0], text=text.strip())
    if found and not unit_head.strip():
        unit, quantities, text = found[0]
        apart = _APART.search(text)
        if apart is not None:
            text = text.replace(apart[0], " ")
        return UnitFound(
            quantities=quantities, unit=unit, text=text.strip(), unread=apart[0] if apart else ""
        )
    text = head.replace(unread, "") if unread else head
    printed = unit_head.strip()[:LONGEST_HEAD]
    return UnitFound(quantities=(), unit="", text=text.strip(), unread=printed or unread)


def _like_a_unit(brackets: str, inside: str) -> bool:
    """Tell a text in brackets that says how values are to be read, though nobody knows how.

    In square ones anything but a word of the trade, a figure such as `avg`, or a number or name
    such as `S1`; in round ones what holds a known unit beside something else.
    """
    words = _WORDS.findall(inside)
    if not words or _NAME.fullmatch(inside.strip()):
        return False
    if any(_known(word) is not None for word in words) and len(inside.split()) > 1:
        return True
    if "/" in inside and any(_known(part) is not None for part in inside.split("/")):
        return True
    return brackets.startswith("[") and not read_header(inside).parts and len(words) < 3


def _known(text: str) -> tuple[str, tuple[str, ...]] | None:
    folded = folded_unit(text.replace("º", "°").replace("ê", "e").strip(" []().:-"))
    unit = _SPELLINGS.get(folded, folded)
    if not unit:
        return None
    quantities = tuple(quantity for quantity, table in UNITS.items() if unit in table)
    return (unit, quantities) if quantities else None
