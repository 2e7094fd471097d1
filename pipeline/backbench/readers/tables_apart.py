"""Tables read by another process, which is ended beyond its bounds of memory and time."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from backbench.documents.stimuli import Table
from backbench.readers.declaration import TableData
from backbench.readers.file_formats import unreadable
from backbench.readers.limited_process import TookTooMuch, read_in_process, serve


def read_apart(module: str, path: Path, name: str, table: Table, kind: str) -> TableData:
    """The declared columns, by a module that calls `serve_tables` when it is run.

    kind: how faults call the file, such as "Parquet". Raises UserError.
    """
    request = {"path": str(path), "name": name, "table": table.model_dump(mode="json")}
    try:
        return _table(read_in_process(module, request))
    except TookTooMuch as error:
        expected = "a table that unfolds to at most 1 GiB in 30 s"
        raise unreadable(name, f"{kind} that was given up: {error}", expected) from None


TableReader = Callable[[Path, str, Table], TableData]


def serve_tables(read: TableReader) -> None:
    """Answer one request: the work of the other process."""
    serve(lambda request: table_bytes(request, read))


def table_bytes(request: dict[str, Any], read: TableReader) -> bytes:
    """The answer to a request for the declared columns of a table."""
    table = Table.model_validate(request["table"])
    return _bytes(read(Path(request["path"]), request["name"], table))


def _bytes(read: TableData) -> bytes:
    """What the columns are, then their values one after another."""
    head = {"columns": list(read.columns), "uncertainty": list(read.uncertainty),
            "remark": read.remark}  # fmt: skip
    values = np.stack([*read.columns.values(), *read.uncertainty.values()])
    return json.dumps(head).encode() + b"\n" + values.astype(np.float64).tobytes()


def _table(data: bytes) -> TableData:
    head, _, rest = data.partition(b"\n")
    given = json.loads(head)
    keys, spread = given["columns"], given["uncertainty"]
    values = np.frombuffer(rest, np.float64).reshape(len(keys) + len(spread), -1)
    arrays = [row.copy() for row in values]
    return TableData(
        dict(zip(keys, arrays[: len(keys)], strict=True)),
        dict(zip(spread, arrays[len(keys) :], strict=True)), given["remark"],
    )  # fmt: skip
