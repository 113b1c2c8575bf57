"""Several files become one series: sorted, each stamp once, impossible values counted."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.blocks import Block
from analysis.channels import channel
from analysis.layers import laid
from analysis.logs.bounds import ends_of
from analysis.logs.rows import ON
from analysis.logs.understanding import FileValues

Columns = dict[str, NDArray[np.float64]]


def settle_shares(files: Sequence[FileValues]) -> None:
    """Bring shares to percent, in place.

    A column without a unit holds 0..1 where no file ever goes above 1, else percent. The word "on"
    is all of it in either.

    Parameters
    ----------
    files : sequence of FileValues
        Every file of the log; their arrays are changed [- to %].
    """
    highest: dict[str, float] = {}
    for one in files:
        for name in one.unsure:
            values = one.values[name]
            top = ends_of(values, one.bounds).highest
            if not np.isfinite(top):
                held = values[np.isfinite(values)]
                top = float(held.max()) if len(held) else 0.0
            highest[name] = max(highest.get(name, 0.0), top)
    for one in files:
        for name, values in one.values.items():
            found = channel(name)
            if found is None or found.quantity != "share":
                continue
            if name in one.unsure and highest[name] <= 1.0:
                values = values * 100.0
            if ends_of(values, one.bounds).highest == ON:
                values = np.where(values == ON, 100.0, values)
            one.values[name] = values


def count_impossible(files: Sequence[FileValues]) -> dict[str, int]:
    """Count values that no sensor of their kind can mean.

    They stay as they were written: `analysis.record` masks them on use, and that they were there
    is what tells an open sensor from a missing one.

    Parameters
    ----------
    files : sequence of FileValues
        Every file of the log [canonical units].

    Returns
    -------
    dict
        Channel to number of stamps with such a value, a stamp of overlapping files counted once.
    """
    impossible: dict[str, list[NDArray[np.int64]]] = {}
    for one in files:
        for name, values in one.values.items():
            found = channel(name)
            if found is None:
                continue
            ends = ends_of(values, one.bounds)
            if ends.lowest < found.lowest or ends.highest > found.highest:
                bad = (values < found.lowest) | (values > found.highest)
                impossible.setdefault(name, []).append(one.stamp_s[bad])
    return {name: len(np.unique(np.concatenate(held))) for name, held in impossible.items()}


def join(files: Sequence[FileValues]) -> tuple[NDArray[np.int64], Columns, Columns]:
    """Join files into one series, each a layer over those given before it (`analysis.layers`).

    Files of one bundle are laid over one another first: handed in together they are one layer.
    Within a file the value given last counts of rows with the same stamp, channel by channel; an
    empty one never counts.

    Parameters
    ----------
    files : sequence of FileValues
        The files in the order given; their arrays are taken over.

    Returns
    -------
    tuple
        Strictly rising stamps [s], channel to values [canonical unit], and key of a column whose
        meaning is not sure to its values [as written].
    """
    stamps = [one.stamp_s for one in files]
    open_columns = [one.open_values for one in files]
    bundles: dict[int, list[Block]] = {}
    for one in files:
        bundles.setdefault(one.bundle, []).append(_rising([one.stamp_s], [one.values]))
    whole = laid([laid(blocks) for blocks in bundles.values()])
    if not any(open_columns):
        return whole.stamp_s, dict(whole.columns), {}
    left = _rising(stamps, open_columns)
    place = np.searchsorted(left.stamp_s, whole.stamp_s)
    unknown = {name: values[place] for name, values in left.columns.items()}
    return whole.stamp_s, dict(whole.columns), unknown


def _rising(stamps: Sequence[NDArray[np.int64]], held: Sequence[Columns]) -> Block:
    """Bring rows into order, each stamp once."""
    stamp_s = np.concatenate(stamps)
    rising = bool((stamp_s[1:] > stamp_s[:-1]).all())
    order = None if rising else np.argsort(stamp_s, kind="stable")
    if order is not None:
        stamp_s = stamp_s[order]
    begins = None
    if order is not None and bool((np.diff(stamp_s) == 0).any()):
        begins = np.flatnonzero(np.append(True, np.diff(stamp_s) > 0))
    columns = _joined(held, [len(one) for one in stamps], order, begins)
    return Block(stamp_s=stamp_s if begins is None else stamp_s[begins], columns=columns)


def _joined(
    held: Sequence[Columns],
    sizes: Sequence[int],
    order: NDArray[np.intp] | None,
    begins: NDArray[np.intp] | None,
) -> Columns:
    columns: Columns = {}
    if len(held) == 1 and order is None:
        return dict(held[0])
    for name in list(dict.fromkeys(name for one in held for name in one)):
        values = np.concatenate(
            [
                one[name] if name in one else np.full(size, np.nan)
                for one, size in zip(held, sizes, strict=True)
            ]
        )
        for one in held:
            one.pop(name, None)  # a year is large; do not hold it twice
        if order is not None:
            values = values[order]
        columns[name] = values if begins is None else _last_given(values, begins)
    return columns


def _last_given(values: NDArray[np.float64], begins: NDArray[np.intp]) -> NDArray[np.float64]:
    """Give the last value of each group that is not NaN."""
    places = np.where(np.isnan(values), -1, np.arange(len(values)))
    last = np.maximum.reduceat(places, begins)
    return np.where(last >= 0, values[np.maximum(last, 0)], np.nan)
