"""Tables as Parquet."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from backbench.documents.stimuli import Table
from backbench.errors import UserError
from backbench.readers.declaration import TableData, TableFormat
from backbench.readers.file_formats import unreadable
from backbench.readers.table_columns import MAX_ROWS, converted, declared, present


def is_parquet(head: bytes, suffix: str) -> bool:
    """Whether the file begins as Parquet does; the suffix is not looked at."""
    return head.startswith(b"PAR1")


def read_parquet(path: Path, name: str, table: Table) -> TableData:
    """The declared columns. Raises UserError naming row and cell of what is not a number."""
    wanted = declared(table, name)
    try:
        frame = _frame(path, name, table)
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException, OSError) as error:
        reason = str(error).splitlines()[0].strip()
        raise unreadable(name, f"damaged Parquet ({reason})", "a whole file") from None
    return converted(frame, wanted, name, lambda row: f"row {row + 1}")


def _frame(path: Path, name: str, table: Table) -> pl.DataFrame:
    scanned = pl.scan_parquet(path, glob=False)
    schema = scanned.collect_schema()
    present(table.columns, schema.names(), name)
    used = sorted({column.name for column in table.columns.values()})
    _refuse_types({column: schema[column] for column in used}, name)
    rows = int(scanned.select(pl.len()).collect().item())
    if rows > MAX_ROWS:
        raise unreadable(name, f"{rows} rows", f"at most {MAX_ROWS}")
    return scanned.select(used).collect()


def _refuse_types(types: dict[str, pl.DataType], name: str) -> None:
    for column, kind in types.items():
        if not (kind.is_numeric() or kind == pl.String):
            raise _wrong_type(name, column, kind)


def _wrong_type(name: str, column: str, kind: pl.DataType) -> UserError:
    return unreadable(name, f"column {column!r} of type {kind}", "a column of numbers")


PARQUET = TableFormat("Parquet table", is_parquet, read_parquet)
