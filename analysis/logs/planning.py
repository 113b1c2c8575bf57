"""Before a file is read: how it is written, where its stamp stands, in which order its dates are.

Files are looked at together, because one may prove what another leaves open.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from analysis.errors import LogError
from analysis.logs.asking import Choice, Question
from analysis.logs.cells import cells_of
from analysis.logs.date_lines import with_dates
from analysis.logs.dialect import Dialect, find_dialect
from analysis.logs.layout import Layout, find_layout, with_late_numbers
from analysis.logs.sensor_columns import LongTable, long_table_of
from analysis.logs.shapes import LogSource
from analysis.logs.spots import spread_rows
from analysis.logs.stamp_formats import order_of, proven
from analysis.logs.stamps import StampFormat
from analysis.logs.text import clean_text
from analysis.logs.timecolumns import stamp_of
from analysis.logs.zone_lines import zone_above
from analysis.site import LogMap
from analysis.units import SECONDS_PER_DAY

_DAY_PART = re.compile(rb"(?<![\d/.-])(\d{1,2}([/.-])\d{1,2}\2(?:\d{4}|\d{2}))(?![\d/-])")
_SPOT, _SPOTS = 2048, 200
_MOST_TABLES = 100
_MOST_FOOTERS = 20
_FIRST_WORD = re.compile(r"[^\W\d_]+")
# What loggers write under a table (trade words; common practice, no source).
_FOOTERS = (
    "sum summe total totale totaal somme suma gesamt end ende fin fine einde eof min max minimum "
    "maximum mean average avg mittel mittelwert moyenne media promedio gemiddelde export count"
)
_FOOTER_WORDS = frozenset(_FOOTERS.split())
_ORDER_SAYS = {
    "day_first": "the day stands first",
    "month_first": "the month stands first",
    "year_first": "the year stands first",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What the caller knows of a log before reading it.

    `zone` is that of the clock, and `zone_from` who says so; `place_zone` is that of the site.
    """

    log_map: LogMap
    zone: str
    zone_from: Literal["map", "site"]
    now_s: int | None
    stamp: Literal["end", "start"]
    place_zone: str = "UTC"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FilePlan:
    """How a file will be read.

    Attributes
    ----------
    text : the file as clean UTF-8, from the header on where it is a later table of its file
    line_offset : how many lines of the file stand before the text
    source : which of the files it is of
    footers : how many lines under the rows are none
    dated : how many lines hold the date of the rows under them
    long : which columns name the series of a long table, None for a wide one
    """

    name: str
    text: bytes
    encoding: str
    dialect: Dialect
    layout: Layout
    long: LongTable | None = None
    line_offset: int = 0
    source: int = 0
    footers: int = 0
    dated: int = 0

    @property
    def stamp_example(self) -> str:
        """The first stamp as written."""
        row = next(iter(self.dialect.samples), ())
        return " ".join(row[place].strip() for place in self.layout.stamp.places if row)


def plan_file(source: LogSource, told: Told) -> list[FilePlan]:
    """Find how a file is written; a file with several headers gives a plan for each.

    Parameters
    ----------
    source : LogSource
        Name and bytes.
    told : Told
        What the map says goes before what is found.

    Returns
    -------
    list of FilePlan
        At least one.

    Raises
    ------
    LogError
        There is no table in it, or no column for the time.
    """
    text, encoding = clean_text(source.name, source.data)
    text, dated = with_dates(text, told.log_map)
    first = replace(_plan(source.name, text, encoding, told, 0), dated=dated)
    starts = _other_headers(first)
    if not starts:
        return [first]
    if len(starts) > _MOST_TABLES:
        raise LogError(
            f"the columns change more than {_MOST_TABLES} times within the file; split it",
            file=source.name,
        )
    plans: list[FilePlan] = []
    line = 0
    for start, stop in zip([0, *starts], [*starts, len(first.text)], strict=True):
        part = first.text[start:stop]
        if sum(bool(row.strip()) for row in part.split(b"\n", 3)[:3]) > 1 or not plans:
            plans.append(replace(_plan(source.name, part, encoding, told, line), dated=dated))
        line += part.count(b"\n")
    return plans


def _plan(name: str, text: bytes, encoding: str, told: Told, offset: int) -> FilePlan:
    dialect = find_dialect(name, text, told.log_map)
    if dialect.delimiter == " ":
        text = _single_blanks(text)
        dialect = find_dialect(name, text, replace(told.log_map, delimiter=" "))
    layout = find_layout(name, dialect, told.log_map)
    if layout.ignored:
        rows = [row for stretch in spread_rows(text, dialect) for row in stretch]
        layout = with_late_numbers(layout, dialect, rows)
    zone = zone_above(text[: dialect.body_at])
    if zone is not None and layout.stamp.zone is None and told.zone_from != "map":
        layout = replace(layout, stamp=replace(layout.stamp, zone=zone))
    end = _without_footer(text, dialect, layout)
    return FilePlan(
        name=name,
        text=text if end == len(text) else text[:end],
        footers=text.count(b"\n", end) + (end < len(text) and not text.endswith(b"\n")),
        encoding=encoding,
        dialect=dialect,
        layout=layout,
        long=long_table_of(name, dialect, layout, text, told.log_map),
        line_offset=offset,
    )


def _without_footer(text: bytes, dialect: Dialect, layout: Layout) -> int:
    """Give where lines such as `Total;...` or `End of export` begin under the rows."""
    end = len(text)
    for _ in range(_MOST_FOOTERS):
        bare = len(text[max(dialect.body_at, end - _SPOT) : end].rstrip())
        stop = max(dialect.body_at, end - _SPOT) + bare
        start = text.rfind(b"\n", max(dialect.body_at, stop - _SPOT), stop) + 1
        if start <= dialect.body_at:
            break
        cells = cells_of(text[start:stop].decode("utf-8", errors="replace"), dialect.delimiter)
        filled = [cell.strip() for cell in cells if cell.strip()]
        word = _FIRST_WORD.match(filled[0].lower()) if filled else None
        alone = len(filled) == 1 and len(dialect.heads) > 1 and dialect.delimiter != " "
        if word is None or not (alone or word[0] in _FOOTER_WORDS):
            break
        if stamp_of(layout.stamp, cells) is not None:
            break
        end = start
    return end


def _single_blanks(text: bytes) -> bytes:
    """Leave one blank between words and none at the ends of lines; lines stay where they are."""
    text = text.replace(b"\t", b" ").replace(b"\r\n", b"\n")
    while b"  " in text:
        text = text.replace(b"  ", b" ")
    return text.replace(b"\n ", b"\n").replace(b" \n", b"\n").strip(b" ")


def _other_headers(plan: FilePlan) -> list[int]:
    """Give where lines begin that start like the header but name other columns: a changed table."""
    dialect = plan.dialect
    if dialect.header_line is None or not dialect.heads[0]:
        return []
    lines = plan.text[: dialect.body_at].split(b"\n")
    if dialect.header_line > len(lines):
        return []
    header = lines[dialect.header_line - 1].rstrip(b"\r")
    sign = dialect.delimiter.encode()
    begin = header.split(sign)[0] + sign
    found: list[int] = []
    # One sign is found many times as fast as several: most headers have one that no row has.
    if any(plan.text.find(begin[at : at + 1], dialect.body_at) < 0 for at in range(len(begin))):
        return found
    at = plan.text.find(b"\n" + begin, max(dialect.body_at - 1, 0))
    while at >= 0:
        stop = plan.text.find(b"\n", at + 1)
        line = plan.text[at + 1 : stop if stop >= 0 else len(plan.text)].rstrip(b"\r")
        if line.rstrip(sign) != header.rstrip(sign):
            found.append(at + 1)
            header = line
        at = plan.text.find(b"\n" + begin, at + 1)
    return found


def settle_orders(
    plans: Sequence[FilePlan], told: Told
) -> tuple[list[FilePlan], list[tuple[FilePlan, Question]]]:
    """Decide the order of day, month and year where the heads of files left several open.

    A file's own dates come first; then all dates of the files written alike together.

    Parameters
    ----------
    plans : sequence of FilePlan
        All files.
    told : Told
        Nothing is later than its present time.

    Returns
    -------
    tuple
        The plans that are settled, and those that stay open with what is to be asked.
    """
    latest_s = None if told.now_s is None else told.now_s + 2 * int(SECONDS_PER_DAY)
    left: dict[int, tuple[StampFormat, ...]] = {}
    days: dict[int, list[str]] = {}
    agreed: dict[str, set[StampFormat]] = {}
    for place, plan in enumerate(plans):
        formats = plan.layout.stamp.formats
        if len(formats) < 2:
            continue
        for size in (_SPOT, len(plan.text)):
            days[place] = _days(plan.text, plan.dialect.body_at, size)
            left[place] = proven(formats, days[place], latest_s=latest_s)
            if len(left[place]) == 1:
                agreed.setdefault(_alike(plan), set()).add(left[place][0])
                break
    for key in {_alike(plans[place]) for place, formats in left.items() if len(formats) > 1}:
        alike = [place for place in left if _alike(plans[place]) == key and len(left[place]) > 1]
        together = agreed.get(key, set())
        if len(together) != 1:
            every = sorted({day for place in alike for day in days[place]})
            formats = plans[alike[0]].layout.stamp.formats
            together = set(proven(formats, every, latest_s=latest_s))
        for place in alike:
            kept = tuple(one for one in left[place] if one in together) or left[place]
            left[place] = kept
    settled, asked = [], []
    for place, plan in enumerate(plans):
        kept = left.get(place, plan.layout.stamp.formats)
        if place in left and len(kept) > 1:
            asked.append((plan, _order_question(plan, kept, days[place])))
            continue
        settled.append(replace(plan, layout=plan.layout.written(kept)))
    return settled, asked


def _alike(plan: FilePlan) -> str:
    return f"{plan.layout.stamp.head}|{plan.layout.stamp.says}"


def _days(text: bytes, start: int, size: int) -> list[str]:
    """Give the dates in spots of this size all through a text, each once."""
    found: set[bytes] = set()
    for at in range(start, len(text), max(size, len(text) // _SPOTS, 1)):
        found.update(day for day, _ in _DAY_PART.findall(text, at, min(at + size, len(text))))
    return sorted(day.decode() for day in found)


def _order_question(plan: FilePlan, formats: Iterable[StampFormat], days: list[str]) -> Question:
    formats = tuple(formats)
    example = days[0] if days else ""
    return Question(
        kind="date_order",
        file=plan.name,
        subject=plan.layout.stamp.head,
        choices=tuple(
            Choice(
                value=order_of(one),
                says=f"{one.says.removesuffix(' without zone')}: {_ORDER_SAYS[order_of(one)]}",
                certainty_frac=1.0 / len(formats),
            )
            for one in formats
        ),
        why=(
            f"dates such as {example} can be read as "
            f"{' and as '.join(one.says.removesuffix(' without zone') for one in formats)}, and "
            "no date of the file tells which"
        ),
    )


def open_order(question: Question, plan: FilePlan) -> LogError:
    """Say that a file cannot be read before a question is answered."""
    orders = " or ".join(f'date_order = "{one.value}"' for one in question.choices)
    return LogError(
        f"{question.why}; tell which in [log]: {orders}",
        file=plan.name,
        line=plan.dialect.first_line + plan.line_offset,
        column=plan.layout.stamp.head,
        questions=(question,),
    )
