"""Tables as Parquet."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import polars as pl

from backbench.documents.regular_files import open_regular, reason_of
from backbench.documents.stimuli import Table
from backbench.errors import UserError
from backbench.readers.array_contents import contents_apart, serve_arrays
from backbench.readers.column_lookup import located, unused
from backbench.readers.declaration import ArrayContents, TableData, TableFormat
from backbench.readers.file_formats import unreadable
from backbench.readers.table_columns import MAX_ROWS, Rows, converted, declared
from backbench.readers.tables_apart import read_apart
from backbench.readers.text_layout import heading_of

MAX_BYTES = 200_000_000


def is_parquet(head: bytes, suffix: str) -> bool:
    """Whether the file begins as Parquet does; the suffix is not looked at."""
    return head.startswith(b"PAR1")


def read_parquet(path: Path, name: str, table: Table) -> TableData:
    """The declared columns. Raises UserError naming row and cell of what is not a number.

    Another process reads them: pages may unfold to any size, whatever the file says of its rows.
    """
    try:
        with open_regular(path, MAX_BYTES):
            return read_apart(__name__, path, name, table, "Parquet")
    except OSError as error:
        expected = f"a file of at most {MAX_BYTES} bytes"
        raise unreadable(name, reason_of(error), expected) from None


def read_parquet_here(path: Path, name: str, table: Table) -> TableData:
    """The same in this process, without its bounds of memory and time."""
    wanted = declared(table, name)
    with _whole(name):
        frame, rest = _frame(path, name, table)
    rows = Rows(frame, lambda row: f"row {row + 1}", unused=rest)
    return converted(rows, wanted, name, table)


def parquet_contents(path: Path, name: str) -> ArrayContents:
    """What the file holds. Raises UserError."""
    return contents_apart(__name__, path, name, "Parquet", MAX_BYTES)


def parquet_contents_here(path: Path, name: str) -> ArrayContents:
    """The same in this process, without its bounds of memory and time."""
    with _whole(name):
        scanned = pl.scan_parquet(path, glob=False)
        schema = scanned.collect_schema()
        rows = int(scanned.select(pl.len()).collect().item())
    return ArrayContents(
        tuple((column, rows if kind.is_numeric() else 0) for column, kind in schema.items()),
        arrays=tuple((column, f"{rows} {str(kind).lower()}") for column, kind in schema.items()),
    )


@contextmanager
def _whole(name: str) -> Iterator[None]:
    try:
        yield
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException, OSError) as error:
        reason = str(error).splitlines()[0].strip()
        raise unreadable(name, f"damaged Parquet ({reason})", "a whole file") from None


def _frame(path: Path, name: str, table: Table) -> tuple[pl.DataFrame, str | None]:
    """The declared columns, by key, and a remark on those that nothing declares."""
    scanned = pl.scan_parquet(path, glob=False)
    schema = scanned.collect_schema()
    headings = [heading_of(column) for column in schema.names()]
    places = located(table.columns, headings, name)
    used = {key: headings[place].text for key, place in places.items()}
    _refuse_types({column: schema[column] for column in used.values()}, name)
    rows = int(scanned.select(pl.len()).collect().item())
    if rows > MAX_ROWS:
        raise unreadable(name, f"{rows} rows", f"at most {MAX_ROWS}")
    chosen = scanned.select(pl.col(column).alias(key) for key, column in used.items())
    return chosen.collect(), unused(headings, places, table)


def _refuse_types(types: dict[str, pl.DataType], name: str) -> None:
    for column, kind in types.items():
        if not (kind.is_numeric() or kind == pl.String):
            raise _wrong_type(name, column, kind)


def _wrong_type(name: str, column: str, kind: pl.DataType) -> UserError:
    return unreadable(name, f"column {column!r} of type {kind}", "a column of numbers")


PARQUET = TableFormat("Parquet table", is_parquet, read_parquet, parquet_contents)

if __name__ == "__main__":
    serve_arrays(read_parquet_here, parquet_contents_here)
