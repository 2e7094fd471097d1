"""Tables as Parquet."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from backbench.documents.regular_files import open_regular, reason_of
from backbench.documents.stimuli import Table
from backbench.errors import UserError
from backbench.readers.declaration import TableData, TableFormat
from backbench.readers.file_formats import unreadable
from backbench.readers.limited_process import TookTooMuch, read_in_process, serve
from backbench.readers.table_columns import MAX_ROWS, converted, declared, present

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
            request = {"path": str(path), "name": name, "table": table.model_dump()}
            return _columns(read_in_process(__name__, request))
    except OSError as error:
        expected = f"a file of at most {MAX_BYTES} bytes"
        raise unreadable(name, reason_of(error), expected) from None
    except TookTooMuch as error:
        expected = "a table that unfolds to at most 1 GiB in 30 s"
        raise unreadable(name, f"Parquet that was given up: {error}", expected) from None


def _columns(data: bytes) -> TableData:
    head, _, rest = data.partition(b"\n")
    keys = json.loads(head)
    values = np.frombuffer(rest, np.float64).reshape(len(keys), -1)
    return TableData({key: values[n].copy() for n, key in enumerate(keys)})


def _answer(request: dict[str, Any]) -> bytes:
    """The columns of a request's table: their names, then their values one after another."""
    table = Table.model_validate(request["table"])
    read = read_parquet_here(Path(request["path"]), request["name"], table).columns
    return json.dumps(list(read)).encode() + b"\n" + np.stack(list(read.values())).tobytes()


def read_parquet_here(path: Path, name: str, table: Table) -> TableData:
    """The same in this process, without its bounds of memory and time."""
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

if __name__ == "__main__":
    serve(_answer)
