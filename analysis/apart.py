"""What is said of channels that were sampled apart from the rows that they were brought to."""

import math
from collections.abc import Mapping

import numpy as np

from analysis.case import Case
from analysis.channels import channel
from analysis.days import DayTable
from analysis.record import Floats, Record

_AWAY = "away_"
_NAMED = 4


def apart_columns(case: Case) -> dict[str, Floats]:
    """Give for each day how far from its row a brought channel was sampled at most [s]."""
    inside = case.day >= 0
    columns = {}
    for name, away_s in case.record.away_s.items():
        farthest = np.full(len(case.days), np.nan)
        np.fmax.at(farthest, case.day[inside], away_s[inside])
        columns[f"{_AWAY}{name}"] = farthest
    return columns


def apart_notes(table: DayTable) -> tuple[str, ...]:
    """Say which channels were brought to the rows of others, () where none was."""
    heads = [head for head in table.columns if head.startswith(_AWAY)]
    days = {head.removeprefix(_AWAY): table.column(head) for head in heads}
    return _said(days)


def apart_words(record: Record) -> tuple[str, ...]:
    """Say the same of rows that were just read."""
    return _said(record.away_s)


def _said(away_s: Mapping[str, Floats]) -> tuple[str, ...]:
    far = {name: float(np.nanmax(held)) for name, held in away_s.items() if np.isfinite(held).any()}
    if not far:
        return ()
    names = [known.says for name in sorted(far) if (known := channel(name)) is not None]
    more = len(names) - _NAMED
    listed = ", ".join(names[:_NAMED]) + (f" and {more} more" if more > 0 else "")
    return (
        f"Sampled at other moments than the rest (another logger, or one sensor at a time): "
        f"{listed}. Each row takes their sample nearest in time, at most "
        f"{math.ceil(max(far.values()))} s away, and nothing across a gap",
    )
