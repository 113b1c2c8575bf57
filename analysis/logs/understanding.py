"""What was read of a file becomes values in canonical units."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from analysis.channels import channel
from analysis.errors import LogError
from analysis.logs.accounting import (
    in_words,
    left_column,
    questions_of,
    understood_of,
    used_column,
)
from analysis.logs.asking import SURE_FRAC, ColumnUnderstood, Proposal
from analysis.logs.bounds import Known, known_of
from analysis.logs.conversions import Unit, converted
from analysis.logs.headers import Headers
from analysis.logs.layout import Column, Layout, column_key, known_column, meanings_of
from analysis.logs.onefile import RowsRead
from analysis.logs.planning import FilePlan, Told
from analysis.logs.pulses import rates
from analysis.logs.rows import ON
from analysis.logs.sentinels import find_sentinels
from analysis.logs.shapes import ColumnRead, FileRead
from analysis.site import ColumnMeaning

_REGISTERS = frozenset(("volume", "energy", "duration", "share"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FileValues:
    """What one file holds, rows in the order of the file, nothing merged yet.

    Attributes
    ----------
    stamp_s : UTC epoch seconds as stamped [s]
    values : channel to values [canonical unit, mass flows in kg/min, unsure shares as written]
    open_values : key of a column without a sure meaning to its values [as written]
    unsure : channels of shares whose scale only all the values tell
    mass_flows : channels of flow that still need the fluid's density
    bundle : number of what it was handed in with
    bounds : of the values, as far as they are known
    added_s : stamps of rows, the last ones, that are none of the file's, but hold the figures of
        its days or values that did not change [s]
    """

    stamp_s: NDArray[np.int64]
    values: dict[str, NDArray[np.float64]]
    open_values: dict[str, NDArray[np.float64]]
    unsure: frozenset[str]
    mass_flows: frozenset[str]
    read: int
    account: FileRead
    bundle: int = 0
    bounds: Known = field(default_factory=dict)
    added_s: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))


def with_proposals(plan: FilePlan, proposals: Sequence[Proposal]) -> FilePlan:
    """Give the plan that also reads the columns whose proposed meaning is sure."""
    layout = plan.layout
    taken = {column.channel.name for column in layout.columns if column.channel is not None}
    sure: list[Column] = []
    for proposal in proposals:
        found = _sure(proposal)
        if found is None or found.channel in taken:
            continue
        known = channel(found.channel)
        if known is None or proposal.place not in {one.place for one in layout.open}:
            continue
        try:
            sure.append(
                known_column(
                    plan.name, plan.dialect, proposal.place, known, found, source="proposal"
                )
            )
        except LogError:
            continue  # a unit that is not one of the channel: the column stays open
        taken.add(found.channel)
    return replace(plan, layout=layout.reading(*sure))


def wide_plan(plan: FilePlan, rows: RowsRead, told: Told) -> FilePlan:
    """Give a long table's plan as if each of its series had been a column."""
    assert plan.long is not None
    names = rows.series
    dialect = replace(
        plan.dialect,
        samples=(),
        headers=Headers(names=names, units=rows.units, lines=plan.dialect.headers.lines),
    )
    columns = []
    unknown = []
    taken: set[str] = set()
    meanings = meanings_of(dialect, told.log_map)
    for place, name in enumerate(names):
        meaning, source = meanings.get(place, (None, "none"))
        found = channel(meaning.channel) if meaning is not None else None
        if meaning is not None and found is not None and found.name not in taken:
            if meaning.unit is None and source == "header" and rows.units[place]:
                meaning = replace(meaning, unit=rows.units[place])
            taken.add(found.name)
            columns.append(known_column(plan.name, dialect, place, found, meaning, source=source))
        else:
            unknown.append(
                replace(plan.long.value, place=place, head=name, unit_says=rows.units[place])
            )
    layout = Layout(
        stamp=plan.layout.stamp, columns=tuple(columns), open=tuple(unknown), ignored=()
    )
    return replace(plan, dialect=dialect, layout=layout)


def file_values(
    plan: FilePlan,
    rows: RowsRead,
    told: Told,
    *,
    proposals: Sequence[Proposal] = (),
    tells: Mapping[str, int],
) -> FileValues:
    """Give the values of a file in canonical units, and how it was understood.

    Parameters
    ----------
    plan : FilePlan
        How it was read; of a long table the wide one.
    rows : RowsRead
        Its rows, a column of values for each of the layout's columns, in their order.
    told : Told
        Map, zone, present time.
    proposals : sequence of Proposal
        For the columns that nobody explained.
    tells : mapping of str to int
        Head of a column to how many of its cells were no number.

    Returns
    -------
    FileValues
        Nothing merged yet.
    """
    values: dict[str, NDArray[np.float64]] = {}
    open_values: dict[str, NDArray[np.float64]] = {}
    accounts: dict[int, ColumnUnderstood] = {}
    said = {proposal.place: proposal for proposal in proposals}
    for column, held in zip(plan.layout.columns, rows.values, strict=True):
        key = column_key(plan.dialect, column.place)
        if column.channel is None:
            open_values[key] = np.where(held == ON, 1.0, held)
            continue
        far = () if column.channel.quantity in _REGISTERS else find_sentinels(held, rows.bounds)
        canonical = _canonical(held, column.unit, rows, told)
        if plan.dialect.number_doubt and tells.get(column.head):
            # Its small numbers alone, which nobody doubts, would be another series.
            canonical = np.full(len(held), np.nan)
        masked = 0
        for one in far:
            there = held == one
            masked += int(there.sum())
            shown = one * column.unit.factor + column.unit.shift
            # What no such sensor can mean is kept as written, and masked on use.
            if column.channel.lowest <= shown <= column.channel.highest:
                canonical = np.where(there, np.nan, canonical)
        values[column.channel.name] = canonical
        accounts[column.place] = used_column(
            plan, column, said.get(column.place), far, masked, tells.get(column.head, 0)
        )
    left = [one for one in (*plan.layout.open, *plan.layout.columns) if one.channel is None]
    for column in left:
        accounts[column.place] = left_column(plan, column, said.get(column.place))
    ordered = tuple(accounts[place] for place in sorted(accounts))
    used = [one for one in plan.layout.columns if one.channel is not None]
    understood = understood_of(
        plan, rows, told, ordered, questions_of(plan, rows, told, said, left)
    )
    return FileValues(
        stamp_s=rows.stamp_s,
        bounds=known_of(
            rows.bounds[id(held)] for held in values.values() if id(held) in rows.bounds
        ),
        added_s=rows.stamp_s[len(rows.stamp_s) - rows.made :],
        values=values,
        open_values=open_values,
        unsure=frozenset(
            one.channel.name for one in used if one.channel is not None and one.unit.share_unsure
        ),
        mass_flows=frozenset(
            one.channel.name for one in used if one.channel is not None and one.unit.mass_flow
        ),
        read=rows.read,
        account=FileRead(
            name=plan.name,
            rows=len(rows.stamp_s) - rows.made,
            first_s=int(rows.stamp_s.min()),
            last_s=int(rows.stamp_s.max()),
            dialect=in_words(plan, told),
            columns=tuple(
                ColumnRead(head=one.head, channel=one.channel.name, unit=one.unit_says)
                for one in used
                if one.channel is not None
            ),
            ignored=tuple(
                head
                for _, head in sorted(
                    [
                        *((one.place, one.head) for one in left),
                        *((_place(plan, head), head) for head in plan.layout.ignored),
                    ]
                )
            ),
            understood=understood,
        ),
    )


def _canonical(
    held: NDArray[np.float64], unit: Unit, rows: RowsRead, told: Told
) -> NDArray[np.float64]:
    if not unit.counted_s:
        return converted(held, unit)
    return rates(
        held, rows.stamp_s, per_count=unit.factor, stamp=told.stamp, seconds=unit.counted_s
    )


def _place(plan: FilePlan, head: str) -> int:
    heads = plan.dialect.heads
    return heads.index(head) if head in heads else int(head.rsplit(" ", 1)[-1]) - 1


def _sure(proposal: Proposal | None) -> ColumnMeaning | None:
    if proposal is None or proposal.certainty_frac < SURE_FRAC:
        return None
    return proposal.meaning
