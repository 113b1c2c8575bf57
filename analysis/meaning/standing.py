"""Loops that never run: what their columns are called counts for more than what they do."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analysis.meaning.states import Header
from analysis.meaning.words import score_words
from analysis.record import Floats

# How much what columns do counts against their words where the loop never runs, for what is usual
# was seen of loops that do (engineering judgement).
STANDING_FRAC = 0.3


def flow_pipes(headers: Sequence[Header]) -> list[Header]:
    """Take a bare "flow" for the pipe where a "return" and a meter of the flow stand beside it."""
    metered = any("flow" in header.unit.quantities for header in headers)
    returns = any("return" in part for header in headers for part in header.words.parts)
    if not metered or not returns:
        return list(headers)
    return [
        replace(header, scores=score_words(header.words, quantity="temperature"))
        if not header.unit.unit and any("flow" in part for part in header.words.parts)
        else header
        for header in headers
    ]


def stands(headers: Sequence[Header], values: Floats) -> bool:
    """Whether a meter of the flow shows none at all: pipes and store then do not what they do."""
    meters = [
        row
        for header, row in zip(headers, values, strict=True)
        if "flow" in header.unit.quantities and header.scores.nats.get("flow")
    ]
    return bool(meters) and all(np.isfinite(row).any() and np.nanmax(row) <= 0 for row in meters)
