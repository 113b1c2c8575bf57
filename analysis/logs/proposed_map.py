"""The map that a reading suggests: what is certain of its columns, for the next file alike."""

from collections.abc import Iterable
from dataclasses import replace

from analysis.logs.asking import ColumnUnderstood
from analysis.logs.shapes import FileRead
from analysis.site import ColumnMeaning, LogMap


def proposed_map(files: Iterable[FileRead], *, told: LogMap) -> LogMap:
    """Give what was told and what is certain as one map.

    A tidy head explains itself and needs no entry. A head that files understand in two ways, or a
    second head for a channel that has one, is left out: a person says which it is.

    Parameters
    ----------
    files : iterable of FileRead
        How files were understood.
    told : LogMap
        The map that they were read with.

    Returns
    -------
    LogMap
        For `analysis.sitefile_write.map_to_toml`.
    """
    entries = dict(told.columns)
    taken = {meaning.channel for meaning in entries.values()}
    found: dict[str, set[ColumnMeaning]] = {}
    for column in columns_of(files):
        if column.meaning is not None and column.source == "proposal":
            found.setdefault(column.key, set()).add(column.meaning)
    for key, meanings in found.items():
        meaning = next(iter(meanings))
        if key in entries or len(meanings) > 1 or meaning.channel in taken:
            continue
        entries[key] = meaning
        taken.add(meaning.channel)
    return replace(told, columns=tuple(entries.items()))


def columns_of(files: Iterable[FileRead]) -> Iterable[ColumnUnderstood]:
    """Give the columns of all files; of a file that was read by its tidy heads, those."""
    for one in files:
        if one.understood is not None:
            yield from one.understood.columns
            continue
        for place, column in enumerate(one.columns):
            yield ColumnUnderstood(
                place=place,
                head=column.head,
                unit_head="",
                meaning=ColumnMeaning(channel=column.channel, unit=column.unit),
                source="header",
                certainty_frac=1.0,
                reasons=(),
            )
        for place, head in enumerate(one.ignored, start=len(one.columns)):
            yield ColumnUnderstood(
                place=place,
                head=head,
                unit_head="",
                meaning=None,
                source="none",
                certainty_frac=0.0,
                reasons=(),
            )
