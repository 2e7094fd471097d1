"""The catalogue's DuckDB file: opened late, closed early; the one place that knows DuckDB."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from importlib import resources
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from backbench.errors import Fault, UserError

DATABASE_NAME = "catalogue.duckdb"
PATIENCE_S = 10.0
LEDGER_OF_MIGRATIONS = (
    "CREATE TABLE IF NOT EXISTS migration "
    "(number INTEGER NOT NULL, name VARCHAR NOT NULL, checksum VARCHAR NOT NULL)"
)


class Store:
    """An open connection. Rows come back as polars frames or tuples."""

    def __init__(self, connection: duckdb.DuckDBPyConnection) -> None:
        self._connection = connection

    def run(self, sql: str, parameters: Sequence[object] | Mapping[str, object] = ()) -> None:
        """Execute a statement and forget its result."""
        self._connection.execute(sql, parameters).fetchall()

    def rows(
        self, sql: str, parameters: Sequence[object] | Mapping[str, object] = ()
    ) -> list[tuple[Any, ...]]:
        """All rows of a query, as tuples."""
        return self._connection.execute(sql, parameters).fetchall()

    def frame(
        self, sql: str, parameters: Sequence[object] | Mapping[str, object] = ()
    ) -> pl.DataFrame:
        """All rows of a query, as a frame."""
        return self._connection.execute(sql, parameters).pl()

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All or nothing."""
        self._connection.execute("BEGIN")
        try:
            yield
        except BaseException:
            self._connection.execute("ROLLBACK")
            raise
        self._connection.execute("COMMIT")
