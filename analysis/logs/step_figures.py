"""Columns that tell the least, the mean and the most of one sensor over each step.

The mean stands for the sensor. Its extremes are never a measurement of their own: heat from the
least flow at the least temperatures is too low, and nothing in the values shows it.
"""

import re
from collections.abc import Sequence

# Trade words (common practice, no source).
_MEAN = "avg ave average mean mittel mittelwert mw moyenne moy media promedio gem gemiddelde"
_OTHER = "min minimum max maximum std stdev sd minimo máximo maximo massimo minimaal maximaal"
_MEANS, _OTHERS = frozenset(_MEAN.split()), frozenset(_OTHER.split())
FIGURES = _MEANS | _OTHERS
_WORD = re.compile(r"[^\s_()\[\].,:-]+")


def extremes(heads: Sequence[str]) -> frozenset[int]:
    """Give the places of columns that are extremes or spreads of a sensor with several figures.

    Parameters
    ----------
    heads : sequence of str
        Header texts, as in `T1 min;T1 avg;T1 max`.

    Returns
    -------
    frozenset of int
        Places; of a sensor with one column alone none.
    """
    figures: dict[tuple[str, ...], dict[int, str]] = {}
    for place, head in enumerate(heads):
        words = _WORD.findall(head.lower())
        at = next((n for n in (len(words) - 1, 0) if words and words[n] in FIGURES), None)
        # A unit behind the figure, as in `T1 min [C]`.
        if at is None and len(words) > 2 and words[-2] in FIGURES:
            at = len(words) - 2
        if at is not None:
            stem = (*words[:at], *words[at + 1 :])
            figures.setdefault(stem, {})[place] = words[at]
    return frozenset(
        place
        for own in figures.values()
        if len(set(own.values())) > 1
        for place, word in own.items()
        if word in _OTHERS
    )
