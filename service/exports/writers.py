"""Writing a table as CSV, XLSX or Parquet, piece by piece.

Text that a spreadsheet would take for a formula gets an apostrophe in front; numbers stay numbers.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from service.errors import InvalidError
from service.exports.tables import Kind, Piece, Table
from service.ingest.set_aside import safe

# A sheet holds 1,048,576 rows (ECMA-376); long before that no desk opens it in good time
# (engineering judgement).
MOST_XLSX_ROWS = 100_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Format:
    """A kind of file."""

    write: Callable[[Table, Path], None]
    media_type: str
    says: str


def _batch(table: Table, piece: Piece, *, guard: bool) -> Any:
    """Turn a piece into an Arrow batch with all of the table's columns."""
    import pyarrow as pa

    schema = _schema(table)
    length = len(next(iter(piece.values())))
    arrays = []
    for field in schema:
        values = piece.get(field.name)
        if values is None:
            arrays.append(pa.nulls(length, field.type))
            continue
        if guard and table.columns[field.name] == "text":
            values = [None if one is None else safe(str(one)) for one in values]
        # NaN is what is not known, and is written as nothing.
        arrays.append(pa.array(values, type=field.type, from_pandas=True))
    return pa.RecordBatch.from_arrays(arrays, schema=schema)


def _schema(table: Table) -> Any:
    import pyarrow as pa

    types = {
        "instant": pa.timestamp("s", tz="UTC"),
        "wall": pa.string(),
        "number": pa.float64(),
        "text": pa.string(),
    }
    return pa.schema([(head, types[kind]) for head, kind in table.columns.items()])


def write_csv(table: Table, path: Path) -> None:
    """Write UTF-8 with one head row, as RFC 4180 has it."""
    import pyarrow.csv

    options = pyarrow.csv.WriteOptions(quoting_style="needed")
    with pyarrow.csv.CSVWriter(str(path), _schema(table), write_options=options) as out:
        for piece in table.pieces:
            out.write_batch(_batch(table, piece, guard=True))


def write_parquet(table: Table, path: Path) -> None:
    """Write Parquet with zstd; times are instants in UTC."""
    import pyarrow.parquet

    with pyarrow.parquet.ParquetWriter(str(path), _schema(table), compression="zstd") as out:
        for piece in table.pieces:
            out.write_batch(_batch(table, piece, guard=False))


def write_xlsx(table: Table, path: Path) -> None:
    """Write one sheet, row by row.

    Raises
    ------
    InvalidError : more rows than a sheet is good for
    """
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    sheet = book.create_sheet("data")
    sheet.freeze_panes = "A2"
    sheet.append(list(table.columns))
    rows = 0
    for piece in table.pieces:
        rows += len(next(iter(piece.values())))
        if rows > MOST_XLSX_ROWS:
            sheet.close()
            raise InvalidError(
                f"These are more than {MOST_XLSX_ROWS:,} rows, too many for a spreadsheet; ask "
                "for fewer days, for hours, or for CSV or Parquet.",
                field="format",
            )
        columns = [
            _cells(piece.get(head), kind, length=len(next(iter(piece.values()))))
            for head, kind in table.columns.items()
        ]
        for row in zip(*columns, strict=True):
            sheet.append(row)
    book.save(path)


def _cells(values: Any, kind: Kind, *, length: int) -> list[Any]:
    """Give a column's cells as a spreadsheet holds them; instants are in UTC."""
    if values is None:
        return [None] * length
    given = values.tolist() if isinstance(values, np.ndarray) else list(values)
    if kind == "number":
        return [None if one is None or one != one else one for one in given]
    if kind == "instant":
        return [
            None if one is None else datetime.fromtimestamp(one, UTC).replace(tzinfo=None)
            for one in given
        ]
    return [None if one is None else safe(str(one)) for one in given]


FORMATS: dict[str, Format] = {
    "csv": Format(write=write_csv, media_type="text/csv; charset=utf-8", says="CSV text"),
    "xlsx": Format(
        write=write_xlsx,
        media_type="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        says="XLSX for spreadsheets",
    ),
    "parquet": Format(
        write=write_parquet,
        media_type="application/vnd.apache.parquet",
        says="Parquet for programs",
    ),
}
