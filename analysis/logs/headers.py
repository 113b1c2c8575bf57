"""The lines above the rows: names of columns, their units, and what else stands there."""

from collections import Counter
from dataclasses import dataclass, field

from analysis.channels import channel_of_tidy
from analysis.errors import LogError
from analysis.logs.numbers import is_unit, looks_like_number
from analysis.logs.step_figures import FIGURES
from analysis.site import LogMap

Row = tuple[int, list[str]]

# What a line of units holds over the column of the time (common practice, no source).
_TIME_SIGNS = frozenset("ymdhsitjamn")
_EMPTY_UNITS = frozenset(("", "-", "--", "[-]", "(-)", "[]", "n/a", "time", "date", "utc", "unit"))
# What a line of kinds holds: how each value came about, or its type (common practice, no source).
_KINDS = (
    "avg ave average mean smp sample min minimum max maximum tot total sum std med inst last "
    "float double real int integer long short bool boolean string str text number numeric char "
    "datetime timestamp date time ts rn ieee4 fp2 float32 float64 int16 int32 uint16 uint32"
)
_KIND_WORDS = frozenset(_KINDS.split())


@dataclass(frozen=True, slots=True, kw_only=True)
class Headers:
    """What stands above the rows.

    Attributes
    ----------
    names : header texts, "" for a column without one
    units : what a line of units prints, known or not; "" where it has none or there is no such line
    lines : 1-based lines of names and units
    again : the lines above the rows as tuples of bare cells; where they stand among rows they are
        passed over
    shared : names of more than one column, looked up once for all columns
    """

    names: tuple[str, ...]
    units: tuple[str, ...]
    lines: tuple[int, ...]
    again: frozenset[tuple[str, ...]] = frozenset()
    shared: frozenset[str] = field(init=False)

    def __post_init__(self) -> None:
        often = Counter(self.names)
        several = frozenset(name for name, count in often.items() if count > 1)
        object.__setattr__(self, "shared", several)


def find_headers(
    name: str,
    before: list[Row],
    remarks: list[Row],
    samples: tuple[tuple[str, ...], ...],
    width: int,
    told: LogMap,
    *,
    clock_place: int | None = None,
) -> Headers:
    """Find the header among the lines above the first row.

    Parameters
    ----------
    name : str
        File name, for messages.
    before, remarks : list of (line, cells)
        The lines above the first row, and those of them that are remarks.
    samples : tuple of rows
        Rows from the head of the file.
    width : int
        How many cells a row has [-].
    told : LogMap
        Its heads are known ones.
    clock_place : int, optional
        Where blanks split a stamp in two: the column of its time of day, which has no name [-].

    Returns
    -------
    Headers
        Names and units; of names the line with most known ones, else the last.

    Raises
    ------
    LogError
        The header is shorter than the rows: nobody can tell which value has no name.
    """
    units = next((row for row in reversed(before) if _is_units(row[1], width)), None)
    kinds = next((row for row in before[1:] if _is_kinds(row[1], width)), None)
    names = _names([row for row in before if row is not units and row is not kinds], width, told)
    # A lone line that looks like units is a header of short names all the same.
    names = names or _names(remarks, width, told) or units
    if names is None:
        _decimals_apart(name, before, samples, width)
        return Headers(names=("",) * width, units=("",) * width, lines=())
    number, cells = names
    if clock_place is not None and len(bare(cells)) == width - 1:
        cells = [*cells[:clock_place], "", *cells[clock_place:]]
    heads = _wide([cell.strip() for cell in cells], width)
    if kinds is not None:
        heads = _with_kinds(heads, _wide([cell.strip() for cell in kinds[1]], width))
    if cells and not heads[-1] and len(cells) < width and any(row[-1].strip() for row in samples):
        raise _too_short(name, number, bare(cells), width)
    lines = (number,) if units is None or units[0] == number else (number, units[0])
    last = lines[-1] if kinds is None else max(lines[-1], kinds[0])
    above = [cells for line, cells in (*before, *remarks) if line <= last]
    again = frozenset(bare(cells) for cells in above)
    printed = [_unit(cell) for cell in units[1]] if units is not None else []
    return Headers(names=heads, units=_wide(printed, width), lines=lines, again=again)


def _decimals_apart(
    name: str, before: list[Row], samples: tuple[tuple[str, ...], ...], width: int
) -> None:
    """Refuse rows whose decimal commas separate columns, as a header of fewer names shows.

    Without it such a file would be one without a header, whole degrees and tenths in turns.
    """
    if not before or not samples:
        return
    number, cells = before[-1]
    filled = bare(cells)
    more = width - len(filled)
    if len(filled) < 2 or not 0 < more < len(filled) or any(map(looks_like_number, filled)):
        return
    columns = list(zip(*samples, strict=True))[2:]
    if sum(_are_decimals(column) for column in columns) >= more:
        raise _too_short(name, number, filled, width)


def _are_decimals(cells: tuple[str, ...]) -> bool:
    """Tell whether all cells have the same few digits and nothing else, as decimals have."""
    held = [cell.strip() for cell in cells]
    return (
        all(cell.isdigit() for cell in held)
        and len({len(cell) for cell in held}) == 1
        and (len(held[0]) <= 3)
    )


def _too_short(name: str, line: int, names: tuple[str, ...], width: int) -> LogError:
    return LogError(
        f"the header names {len(names)} columns, but the rows hold {width} values; "
        "a decimal comma in a comma separated file does this: export it with decimal points "
        "or semicolons, else complete the header",
        file=name,
        line=line,
    )


def bare(cells: list[str]) -> tuple[str, ...]:
    """Give cells without outer blanks and without empty ones at the end."""
    cells = [cell.strip() for cell in cells]
    while cells and not cells[-1]:
        cells.pop()
    return tuple(cells)


def _wide(cells: list[str], width: int) -> tuple[str, ...]:
    return (*cells[:width], *("" for _ in range(width - len(cells))))


def _unit(cell: str) -> str:
    """Give what a line of units prints, also a unit that nobody knows: its column is asked."""
    text = cell.strip().strip("[]()<>").strip()
    silent = not is_unit(text) and (_no_unit(text) or text.lower() in _KIND_WORDS)
    return "" if silent else text


def _is_units(cells: list[str], width: int) -> bool:
    """Tell a line of units: units and nothing else, but for the column of the time."""
    if abs(len(cells) - width) > 1:
        return False
    known = [is_unit(cell) and not looks_like_number(cell) for cell in cells]
    silent = [_no_unit(cell) for cell in cells]
    other = len(cells) - sum(known) - sum(not a and b for a, b in zip(known, silent, strict=True))
    return any(known) and other <= len(cells) // 4


def _is_kinds(cells: list[str], width: int) -> bool:
    """Tell a line such as `TS;Avg;Avg;Smp` under the names: kinds of values, some of them twice."""
    filled = [cell.lower() for cell in bare(cells) if cell]
    if abs(len(cells) - width) > 1 or len(filled) < 2 or not set(filled) <= _KIND_WORDS:
        return False
    return len(set(filled)) < len(filled) or len(filled) * 2 > width


def _with_kinds(names: tuple[str, ...], kinds: tuple[str, ...]) -> tuple[str, ...]:
    """Join a name that stands over several columns with the figure under it: `T1 min`, `T1 max`."""
    if not any(kind and not name for name, kind in zip(names[1:], kinds[1:], strict=True)):
        return names
    joined, over = [], ""
    for name, kind in zip(names, kinds, strict=True):
        over = name or over
        joined.append(f"{over} {kind}".strip() if kind.lower() in FIGURES else name or kind)
    return tuple(joined)


def _no_unit(cell: str) -> bool:
    text = cell.strip().strip("[]()<>").lower()
    letters = {sign for sign in text if sign.isalpha()}
    return text in _EMPTY_UNITS or (len(text) >= 4 and len(letters) > 1 and letters <= _TIME_SIGNS)


def _names(rows: list[Row], width: int, told: LogMap) -> Row | None:
    named = {head.strip().lower() for head, _ in told.columns}
    best: tuple[int, Row] | None = None
    for number, cells in rows:
        # Headers often lack the name of a last empty column, or have one too many.
        filled = bare(cells)
        if len(cells) != width and not (len(filled) >= 2 and abs(len(filled) - width) <= 1):
            continue
        if not filled or all(looks_like_number(cell) for cell in filled):
            continue
        known = sum(
            channel_of_tidy(head) is not None or head.lower() in named or head.lower() == "time"
            for head in filled
        )
        if best is None or known >= best[0]:
            best = (known, (number, cells))
    return best[1] if best is not None else None
