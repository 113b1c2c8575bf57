"""A log as it would be read with a map, for somebody to look at before it counts."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from analysis.errors import LogError
from analysis.logs.asking import ColumnUnderstood, Question
from analysis.logs.date_lines import with_dates
from analysis.logs.dialect import find_dialect
from analysis.logs.proposed_map import columns_of
from analysis.logs.reading import read_logs
from analysis.logs.shapes import LogSource, ParsedLog
from analysis.logs.text import clean_text
from analysis.site import LogMap, Site

ROWS_SHOWN = 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Preview:
    """What a map makes of a log.

    Attributes
    ----------
    parsed : the reading, columns without a sure meaning included; None where it cannot be read
    problem : why it cannot be read, None where it can
    heads : heads of the first file, "" for a column without one
    rows : its first rows as written
    columns : the columns of values, each once; without a reading, all columns by their heads
    questions : what is open
    """

    parsed: ParsedLog | None
    problem: str | None
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    columns: tuple[ColumnUnderstood, ...]
    questions: tuple[Question, ...]


def preview(
    sources: Sequence[LogSource],
    *,
    site: Site,
    log_map: LogMap,
    now_s: int,
    as_written: bool = True,
    beyond_map: bool = True,
) -> Preview:
    """Read a log with a map without giving anything up.

    Parameters
    ----------
    sources : sequence of LogSource
        The files, unpacked.
    site : Site
        Its place and fluid count; its own map is not looked at.
    log_map : LogMap
        The map to try.
    now_s : int
        Present time, UTC epoch seconds [s].
    as_written : bool
        Whether heads and first rows are wanted, too.
    beyond_map : bool
        Whether columns that the map leaves out are shown as what they surely hold.

    Returns
    -------
    Preview
        Also where the log cannot be read yet.
    """
    heads, rows = _as_written(sources, log_map) if as_written else ((), ())
    bare = replace(site, log=log_map)
    try:
        parsed = read_logs(sources, site=bare, now_s=now_s, keep_open=True, beyond_map=beyond_map)
    except LogError as error:
        return Preview(
            parsed=None,
            problem=str(error),
            heads=heads,
            rows=rows,
            columns=_by_heads(heads),
            questions=tuple(error.questions),
        )
    seen: dict[str, ColumnUnderstood] = {}
    for column in columns_of(parsed.files):
        held = seen.get(column.key)
        if held is None or held.meaning is None:
            seen[column.key] = column
    return Preview(
        parsed=parsed,
        problem=None,
        heads=heads,
        rows=rows,
        columns=tuple(seen.values()),
        questions=parsed.questions,
    )


def _as_written(
    sources: Sequence[LogSource], log_map: LogMap
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    for source in sources:
        try:
            text, _ = with_dates(clean_text(source.name, source.data)[0], log_map)
            dialect = find_dialect(source.name, text, log_map)
        except LogError:
            continue
        return dialect.heads, dialect.samples[:ROWS_SHOWN]
    return (), ()


def _by_heads(heads: Sequence[str]) -> tuple[ColumnUnderstood, ...]:
    often = Counter(heads)
    return tuple(
        ColumnUnderstood(
            place=place,
            head=head,
            unit_head="",
            meaning=None,
            source="none",
            certainty_frac=0.0,
            reasons=(),
            shared_head=often[head] > 1,
        )
        for place, head in enumerate(heads)
    )
