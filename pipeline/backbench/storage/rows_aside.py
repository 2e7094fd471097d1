"""Rows of this program as a file that statements of the database read."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager

from backbench.storage.atomic_io import parquet_bytes
from backbench.storage.scratch import scratch_folder


@contextmanager
def rows_aside(rows: Sequence[Mapping[str, object]]) -> Iterator[str]:
    """A Parquet file of the rows, which all have the same keys; it is removed at the end."""
    import polars as pl

    with scratch_folder() as folder:
        path = folder / "rows.parquet"
        frame = pl.DataFrame(rows, infer_schema_length=None, orient="row")
        path.write_bytes(parquet_bytes(frame))
        yield str(path)
