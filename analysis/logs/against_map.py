"""A file that says something else of its columns than the map it is read with.

A map is made on one file. The next may print other units under the same heads, or hold its columns
in another order: what it surely shows of itself is noted beside what the map says. An entry of the
map that somebody kept although a file showed something else lists that under `despite`.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from analysis.channels import base_name, channel
from analysis.logs.asking import SURE_FRAC, ColumnUnderstood, Proposal
from analysis.logs.conversions import is_same_unit, unit_named
from analysis.logs.layout import entry_key, meaning_by_head, meanings_of, open_column
from analysis.logs.planning import FilePlan, Told
from analysis.logs.shapes import ParsedLog, quoted
from analysis.logs.understanding import FileValues
from analysis.site import ColumnMeaning, LogMap


def without_map(plan: FilePlan) -> FilePlan:
    """Give a wide file as if the map had said nothing of its values."""
    layout = plan.layout
    mapped = [one for one in layout.columns if one.source == "map"]
    bare = [open_column(plan.dialect, one.place) for one in mapped]
    return replace(
        plan,
        layout=replace(
            layout,
            columns=tuple(one for one in layout.columns if one.source != "map"),
            open=tuple(one for one in bare if one is not None),
        ),
    )


def with_own(
    found: FileValues, plan: FilePlan, told: Told, proposals: Sequence[Proposal]
) -> FileValues:
    """Note on a file's columns what it surely shows of them where the map says something else.

    Parameters
    ----------
    found : FileValues
        The file as the map reads it.
    plan : FilePlan
        How it was read; of a long table the wide one.
    told : Told
        The map.
    proposals : sequence of Proposal
        What the columns hold by their words and values alone.
    """
    account = found.account
    if account.understood is None:
        return found
    said = meanings_of(plan.dialect, told.log_map)
    by_values = {one.place: one.meaning for one in proposals if one.certainty_frac >= SURE_FRAC}
    columns = []
    for column in account.understood.columns:
        own = None
        if column.source == "map" and column.meaning is not None:
            told_here = said[column.place][0]
            own = _printed_unit(column, key=plan.dialect.heads[column.place])
            own = own or by_values.get(column.place)
            if own is not None and (
                _agree(column.meaning, own)
                or own_words(own) in told_here.despite
                or _knows_head(told_here, own, column)
            ):
                own = None
        columns.append(replace(column, own=own))
    understood = replace(account.understood, columns=tuple(columns))
    return replace(found, account=replace(account, understood=understood))


def _printed_unit(column: ColumnUnderstood, *, key: str) -> ColumnMeaning | None:
    """Give the mapped channel in the unit that a line of units or the cells print, if it has it.

    What the head itself prints was in the map's own words.
    """
    assert column.meaning is not None
    known = channel(column.meaning.channel)
    if known is None or not column.unit_head or column.unit_head in key:
        return None
    if unit_named(quantity=known.quantity, unit=column.unit_head) is None:
        return None
    return ColumnMeaning(channel=known.name, unit=column.unit_head)


def _knows_head(told: ColumnMeaning, own: ColumnMeaning, column: ColumnUnderstood) -> bool:
    """Tell whether an entry stands above what values say, for whoever wrote it saw the head.

    The head itself names the channel that the entry does, or a unit that the entry corrects.
    """
    from analysis.meaning.unit_words import find_unit

    named = meaning_by_head(column.head)
    if named is not None and named.channel == told.channel and named.channel != own.channel:
        return True
    if told.unit is None or column.key != column.head or not find_unit(column.head).unit:
        return False
    return base_name(told.channel) == base_name(own.channel)


def _agree(told: ColumnMeaning, own: ColumnMeaning) -> bool:
    """Tell whether two meanings are one; which sensor of a kind is the second, nothing tells."""
    one, other = channel(told.channel), channel(own.channel)
    if one is None or other is None:
        return True
    if base_name(one.name) != base_name(other.name):
        return False
    return is_same_unit(one.quantity, told.unit, own.unit)


def own_words(own: ColumnMeaning) -> str:
    """Give a meaning as `despite` lists it: `loop_hot in F`."""
    return own.channel if own.unit is None else f"{own.channel} in {own.unit}"


def contradicting(columns: Iterable[ColumnUnderstood]) -> dict[str, tuple[str, ...]]:
    """Give what columns surely show against the map, by their keys, as `despite` lists it."""
    found: dict[str, tuple[str, ...]] = {}
    for column in columns:
        if column.own is not None:
            said = own_words(column.own)
            found[column.key] = tuple(dict.fromkeys((*found.get(column.key, ()), said)))
    return found


def with_despite(log_map: LogMap, seen: Mapping[str, Sequence[str]]) -> LogMap:
    """Give a map whose entries list what somebody saw of columns and kept them all the same."""
    entries = []
    for head, meaning in log_map.columns:
        more = next((said for key, said in seen.items() if entry_key(key) == entry_key(head)), ())
        despite = tuple(dict.fromkeys((*meaning.despite, *more)))
        entries.append((head, replace(meaning, despite=despite)))
    return replace(log_map, columns=tuple(entries))


def contradiction(parsed: ParsedLog) -> str | None:
    """Say where the map takes a column for something else than its file surely showed."""
    for one in parsed.files:
        for column in one.understood.columns if one.understood is not None else ():
            if column.own is None or column.meaning is None:
                continue
            told = column.meaning
            which = "this file" if len(parsed.files) == 1 else one.name
            return (
                f"the map takes {quoted(column.key)} for {_words(told)}, but {which}'s own values "
                f"look like {_words(column.own)}"
            )
    return None


def _words(meaning: ColumnMeaning) -> str:
    known = channel(meaning.channel)
    says, usual = (known.says, known.unit) if known is not None else (meaning.channel, "")
    return f"{says} in {meaning.unit or usual}" if meaning.unit or usual else says
