"""The units that the temperatures of a log may be in where nothing says it."""

import math
from collections.abc import Sequence

from analysis.meaning.looks import Look
from analysis.meaning.states import Header

# Degrees of Fahrenheit or kelvin without a word about it are rare; engineering judgement [nats].
HOW_COMMON = {"c": 0.0, "f": -3.0, "k": -4.0, "0.1c": -3.0}
# Above this share of whole numbers a column may count in tenths.
_WHOLE = 0.99


def temperatures(headers: Sequence[Header], looks: Sequence[Look]) -> list[str]:
    """Give the units that temperatures without one may be in."""
    said = {header.unit.unit for header in headers if "temperature" in header.unit.quantities}
    if len(said) == 1:
        return list(said)
    levels = [look.median for look in looks if not math.isnan(look.median)]
    some = ["c"]
    if any(20.0 < level < 220.0 for level in levels):
        some.append("f")
    if any(255.0 < level < 400.0 for level in levels):
        some.append("k")
    whole = [look.median for look in looks if look.whole >= _WHOLE]
    if any(100.0 < level < 1500.0 for level in whole):
        some.append("0.1c")
    return some
