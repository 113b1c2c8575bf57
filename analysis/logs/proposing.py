"""Columns that neither a map nor a tidy head explains are handed over, and answers taken back."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.channels import channel, channel_of_tidy
from analysis.common_rows import on_common_rows
from analysis.logs.asking import OpenColumn, Proposal
from analysis.logs.layout import Column, column_key, meanings_of
from analysis.logs.onefile import RowsRead, read_rows
from analysis.logs.planning import FilePlan, Told
from analysis.logs.rows import ON
from analysis.logs.scaled_heads import as_printed, in_units, scale_of
from analysis.logs.sentinels import find_sentinels
from analysis.logs.shapes import ProblemList
from analysis.site import ColumnMeaning, Site

_SAMPLE_BYTES = 1_500_000
_SLICES = 8
# Whether a map agrees with the heads of its file, fewer but whole days tell.
_GLANCE_BYTES = 400_000
_GLANCES = 3
_LONG_ROWS = 20_000


def is_open(plan: FilePlan, told: Told) -> bool:
    """Tell whether a file needs proposals: not where a map speaks, nor where a head is tidy.

    A map that names no column of this file was made for another logger's, and does not speak. A
    head that is a channel's name by chance, as `Collector [°C]` is, makes no tidy log.
    """
    if told.log_map.columns and (plan.long is not None or is_mapped(plan)):
        return False
    return plan.long is not None or (bool(plan.layout.open) and not _is_tidy(plan))


def is_mapped(plan: FilePlan) -> bool:
    """Tell whether a map says what columns of a file hold."""
    return any(one.source == "map" for one in plan.layout.columns)


def is_open_beyond_map(plan: FilePlan) -> bool:
    """Tell whether a wide file has columns that its map leaves open, and no head is tidy."""
    return is_mapped(plan) and bool(plan.layout.open) and not _is_tidy(plan)


def _is_tidy(plan: FilePlan) -> bool:
    return any(channel_of_tidy(column.head) is not None for column in plan.layout.columns)


def proposals_for(
    plans: Sequence[FilePlan], *, told: Told, site: Site | None
) -> tuple[Proposal, ...]:
    """Propose what the open columns of files that are written alike hold.

    Parameters
    ----------
    plans : sequence of FilePlan
        Files with the same heads; spots of them, some days each, are looked at.
    told : Told
        Zone of the clock, present time.
    site : Site or None
        Its place tells the sun.

    Returns
    -------
    tuple of Proposal
        One for each open column of the first plan (wide) in its order, and one for each other
        column whose head prints a unit that the heat forbids.
    """
    first = plans[0]
    offered, stamp_s = _offered(plans, told, size=_SAMPLE_BYTES, slices=_SLICES)
    keys = {column.place: column_key(first.dialect, column.place) for column in offered}
    found = propose(offered, stamp_s=stamp_s, site=site, keys=keys, file=first.name)
    asked = {column.place for column in first.layout.open}
    return tuple(
        one
        for one in found
        if one.place in asked or any(question.kind == "unit" for question in one.questions)
    )


def map_agrees(plans: Sequence[FilePlan], *, told: Told) -> bool:
    """Tell whether a map and the heads of wide files that are written alike say the same.

    A few days of them are looked at for units that no head prints.
    """
    from analysis.meaning.agreement import agree

    said = meanings_of(plans[0].dialect, told.log_map)
    offered, stamp_s = _offered(plans, told, size=_GLANCE_BYTES, slices=_GLANCES)
    mapped = [
        replace(one, known=said[one.place][0])
        for one in offered
        if one.place in said and channel(said[one.place][0].channel) is not None
    ]
    return all(scale_of(one) is None for one in mapped) and agree(mapped, stamp_s=stamp_s)


def _offered(
    plans: Sequence[FilePlan], told: Told, *, size: int, slices: int
) -> tuple[tuple[OpenColumn, ...], NDArray[np.int64]]:
    """Read spots of files with the same heads; give the columns of the first, and the stamps."""
    first = plans[0]
    # What heads tell already stands beside the open columns: it says what these are not.
    looked_at = first.layout.reading(*first.layout.open).columns
    stamps, columns = [], []
    for part in _slices(plans, size, slices):
        reading = replace(part, layout=part.layout.reading(*part.layout.open))
        rows = read_rows(reading, told=told, problems=ProblemList())
        wanted = {column.place for column in looked_at}
        places = [at for at, column in enumerate(reading.layout.columns) if column.place in wanted]
        stamps.append(rows.stamp_s)
        columns.append([rows.values[at] for at in places])
    stamp_s = np.concatenate(stamps)
    order = np.argsort(stamp_s, kind="stable")
    offered = tuple(
        OpenColumn(
            place=column.place,
            head=first.dialect.heads[column.place],
            unit_head=column.unit_says,
            values=offered_values(np.concatenate([one[at] for one in columns])[order]),
            words=column.words,
            known=_known(column),
        )
        for at, column in enumerate(looked_at)
    )
    return offered, stamp_s[order]


def _known(column: Column) -> ColumnMeaning | None:
    if column.channel is None or column.source == "none":
        return None
    return ColumnMeaning(channel=column.channel.name, unit=column.unit_says or None)


def proposals_for_series(
    plan: FilePlan, rows: RowsRead, *, site: Site | None
) -> tuple[Proposal, ...]:
    """Propose what the series of a long table hold, in their order."""
    step = max(1, len(rows.stamp_s) // _LONG_ROWS)
    # Whole stretches rather than every n-th row, so that switching stays visible.
    keep = (np.arange(len(rows.stamp_s)) // 1000) % step == 0
    offered = tuple(
        OpenColumn(
            place=place,
            head=name,
            unit_head=rows.units[place],
            values=offered_values(rows.values[place][keep]),
            words=False,
        )
        for place, name in enumerate(rows.series)
    )
    keys = dict(enumerate(rows.series))
    return propose(offered, stamp_s=rows.stamp_s[keep], site=site, keys=keys, file=plan.name)


def propose(
    columns: tuple[OpenColumn, ...],
    *,
    stamp_s: NDArray[np.int64],
    site: Site | None,
    keys: dict[int, str],
    file: str,
) -> tuple[Proposal, ...]:
    """Propose a meaning for each column, from its words and what its values do."""
    from analysis.meaning.propose import propose as by_words_and_physics

    scales = {one.place: scaled for one in columns if (scaled := scale_of(one)) is not None}
    columns = tuple(
        in_units(one, scales[one.place]) if one.place in scales else one for one in columns
    )
    stamp_s, columns = _together(stamp_s, columns)
    found = by_words_and_physics(columns, stamp_s=stamp_s, site=site, keys=keys, file=file)
    return tuple(
        as_printed(one, scales[one.place]) if one.place in scales else one for one in found
    )


def _together(
    stamp_s: NDArray[np.int64], columns: tuple[OpenColumn, ...]
) -> tuple[NDArray[np.int64], tuple[OpenColumn, ...]]:
    """Bring columns that were sampled apart to common rows, so that they can be compared."""
    if len(stamp_s) > 1 and not bool((np.diff(stamp_s) > 0).all()):
        return stamp_s, columns
    held = {str(place): one.values for place, one in enumerate(columns)}
    common = on_common_rows(stamp_s, held)
    if not common.away_s:
        return stamp_s, columns
    return common.stamp_s, tuple(
        replace(one, values=common.columns[str(place)]) for place, one in enumerate(columns)
    )


def offered_values(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give values with on as 1 and without those of a broken sensor."""
    values = np.where(values == ON, 1.0, values)
    for far in find_sentinels(values):
        values = np.where(values == far, np.nan, values)
    return values


def _slices(plans: Sequence[FilePlan], most: int, count: int) -> list[FilePlan]:
    """Cut some stretches of whole lines out of files, spread over all of them."""
    sizes = [len(plan.text) - plan.dialect.body_at for plan in plans]
    total = sum(sizes)
    if total <= most:
        return list(plans)
    size = most // count
    found = []
    begins = np.concatenate([[0], np.cumsum(sizes)])
    last_end = -1
    for at in np.linspace(0, max(total - size, 0), count).astype(np.int64).tolist():
        place = min(int(np.searchsorted(begins, at, side="right")) - 1, len(plans) - 1)
        plan = plans[place]
        start = max(int(at - begins[place]), 0) + plan.dialect.body_at
        if start > plan.dialect.body_at:
            start = plan.text.find(b"\n", start - 1) + 1 or len(plan.text)
        stop = plan.text.find(b"\n", min(start + size, len(plan.text)) - 1) + 1 or len(plan.text)
        if begins[place] + start < last_end or stop <= start:
            continue
        last_end = int(begins[place]) + stop
        dialect = replace(plan.dialect, body_at=0)
        found.append(replace(plan, text=plan.text[start:stop], dialect=dialect))
    return found
