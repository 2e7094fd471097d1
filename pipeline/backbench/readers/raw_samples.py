"""Samples without a header, whose layout the manifest states."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from backbench.documents.raw_layout import RawLayout
from backbench.documents.regular_files import open_regular, reason_of
from backbench.documents.stimuli import Table
from backbench.errors import Fault, UserError
from backbench.quantities.counts import counted
from backbench.readers.array_tables import MAX_BYTES, table_of_arrays
from backbench.readers.declaration import WITHOUT_HEADER, TableData, TableFormat
from backbench.readers.file_formats import unreadable

TYPES = {
    "int8": "i1", "uint8": "u1", "int16": "i2", "uint16": "u2", "int32": "i4", "uint32": "u4",
    "float32": "f4", "float64": "f8",
}  # fmt: skip


def is_raw(head: bytes, suffix: str) -> bool:
    """No file shows by itself that it is one."""
    return False


def read_raw(path: Path, name: str, table: Table) -> TableData:
    """The declared columns. Raises UserError where the layout doesn't fit the file's length."""
    layout = table.raw
    assert layout is not None
    faults = [
        Fault(f"{name}, column {key}", f"the name {column.name!r}", "a number: it has no headings")
        for key, column in table.columns.items() if column.name is not None
    ]  # fmt: skip
    if faults:
        raise UserError(f"{name} can't be read", faults)
    try:
        with open_regular(path, MAX_BYTES) as stream:
            data = stream.read(MAX_BYTES)
    except OSError as error:
        raise unreadable(name, reason_of(error), f"a file of at most {MAX_BYTES} bytes") from None
    samples = _samples(data, layout, name)
    columns = {str(n + 1): samples[:, n] for n in range(layout.columns)}
    return table_of_arrays(lambda: columns, "raw samples", name, table)


def _samples(data: bytes, layout: RawLayout, name: str) -> NDArray[Any]:
    kind = np.dtype(("<" if layout.order == "little" else ">") + TYPES[layout.type])
    row = kind.itemsize * layout.columns
    length = len(data) - layout.skip_bytes
    if length < row or length % row:
        raise unreadable(
            name, f"{len(data)} bytes",
            f"{layout.skip_bytes} bytes and whole rows of {counted(layout.columns, 'value')} of "
            f"{layout.type}, {row} bytes each",
            "correct `raw`",
        )  # fmt: skip
    flat = np.frombuffer(data, kind, offset=layout.skip_bytes)
    if layout.blocks:
        return flat.reshape(layout.columns, -1).T
    return flat.reshape(-1, layout.columns)


RAW = TableFormat(WITHOUT_HEADER, is_raw, read_raw)
