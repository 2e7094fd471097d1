"""Arrays by name as a table: which columns they make, and the declared ones as numbers."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from backbench.documents.regular_files import open_regular, reason_of
from backbench.documents.stimuli import Table
from backbench.documents.validation import shortened
from backbench.errors import UserError
from backbench.readers.column_lookup import located, unused
from backbench.readers.declaration import ArrayContents, TableData
from backbench.readers.file_formats import unreadable
from backbench.readers.table_columns import MAX_ROWS, Rows, converted, declared
from backbench.readers.tables_apart import read_apart
from backbench.readers.text_layout import Heading, heading_of

MAX_BYTES = 200_000_000
MAX_COLUMNS = 10_000
Arrays = Mapping[str, NDArray[Any]]
"""Arrays by name; one without a name has the name ""."""


def read_arrays_apart(module: str, path: Path, name: str, table: Table, kind: str) -> TableData:
    """The declared columns, by another process: an array may unfold to any size."""
    try:
        with open_regular(path, MAX_BYTES):
            return read_apart(module, path, name, table, kind)
    except OSError as error:
        expected = f"a file of at most {MAX_BYTES} bytes"
        raise unreadable(name, reason_of(error), expected) from None


def table_of_arrays(load: Callable[[], Arrays], kind: str, name: str, table: Table) -> TableData:
    """The declared columns of arrays. Raises UserError naming what isn't there or no number.

    load: gives the arrays; whatever it raises tells that the file is damaged.
    """
    wanted = declared(table, name)
    columns = dict(columns_of(_loaded(load, kind, name)))
    if not columns:
        expected = "arrays of numbers with one row or more"
        raise unreadable(name, f"no such array in this {kind}", expected)
    if len(columns) > MAX_COLUMNS:
        raise unreadable(name, f"{len(columns)} columns", f"at most {MAX_COLUMNS}")
    headings = headings_of([*columns])
    places = located(table.columns, headings, name)
    chosen = {key: [*columns.values()][place] for key, place in places.items()}
    lengths = {len(values) for values in chosen.values()}
    if len(lengths) > 1:
        found = f"declared columns of {' and '.join(map(str, sorted(lengths)))} values"
        raise unreadable(name, found, "columns of one length")
    if max(lengths, default=0) > MAX_ROWS:
        raise unreadable(name, f"{max(lengths)} rows", f"at most {MAX_ROWS}")
    frame = pl.DataFrame({key: pl.Series(values) for key, values in chosen.items()})
    rows = Rows(frame, lambda row: f"row {row + 1}", unused=unused(headings, places, table))
    return converted(rows, wanted, name, table)


def contents_of_arrays(load: Callable[[], Arrays], kind: str, name: str) -> ArrayContents:
    """What arrays hold. Raises UserError where the file is damaged."""
    arrays = _loaded(load, kind, name)
    columns = tuple((label, len(values)) for label, values in columns_of(arrays))
    single = tuple(_single_values(arrays))
    shapes = tuple((key, _in_words(array)) for key, array in arrays.items() if array.size != 1)
    return ArrayContents(columns, single, shapes)


def _single_values(arrays: Arrays) -> Iterator[tuple[str, float]]:
    """Single numbers by name; of a structure of one row "acquisition.dt"."""
    for key, array in arrays.items():
        if array.size != 1:
            continue
        if array.dtype.names:
            held = array.reshape(-1)[0]
            parts = {f"{key}.{part}": np.asarray(held[part]) for part in array.dtype.names}
            yield from _single_values(parts)
        elif array.dtype.kind in "iuf":
            yield key, float(array.item())


def _in_words(array: NDArray[Any]) -> str:
    shape = " x ".join(map(str, array.shape))
    kind = "fields " + ", ".join(array.dtype.names) if array.dtype.names else str(array.dtype)
    return f"{shape} {kind}"


def _loaded(load: Callable[[], Arrays], kind: str, name: str) -> Arrays:
    try:
        return load()
    except UserError:
        raise
    except Exception as error:  # libraries raise whatever a damaged file makes them
        reason = (str(error).splitlines() or [type(error).__name__])[0].strip()
        raise unreadable(
            name, f"damaged {kind} ({shortened(reason, 120)})", "a whole file"
        ) from None


def headings_of(names: Sequence[str]) -> list[Heading]:
    """The headings that names of arrays make."""
    return [heading_of(name) if name else Heading("") for name in names]


def columns_of(arrays: Arrays) -> Iterator[tuple[str, NDArray[Any]]]:
    """Every column of numbers, with its name: of an array of several "name 1", "name 2".

    The longer side of an array is its rows. Of complex numbers the parts are columns. What is no
    number, or of three dimensions and more, is left out; so are single values.
    """
    for name, array in arrays.items():
        if array.dtype.names:
            fields = {field: array[field] for field in array.dtype.names}
            yield from columns_of(fields)
        elif array.dtype.kind in "iufc" and 1 <= array.ndim <= 2 and array.size > 1:
            yield from _columns(name, array)


def _columns(name: str, array: NDArray[Any]) -> Iterator[tuple[str, NDArray[Any]]]:
    table = array.reshape(len(array), -1)
    if table.shape[1] > table.shape[0]:
        table = table.T
    for n in range(table.shape[1]):
        alone = table.shape[1] == 1
        label = name if alone and name else f"{name} {n + 1}".strip()
        column = np.ascontiguousarray(table[:, n])
        if column.dtype.kind == "c":
            yield f"{label} real", _plain(column.real)
            yield f"{label} imaginary", _plain(column.imag)
        else:
            yield label, _plain(column)


def _plain(column: NDArray[Any]) -> NDArray[Any]:
    """In this machine's order of bytes, and no type that a table can't hold."""
    kind = column.dtype
    wide = (
        np.float64 if kind.kind == "f" and kind.itemsize not in {4, 8} else kind.newbyteorder("=")
    )
    return np.ascontiguousarray(column.astype(wide))
