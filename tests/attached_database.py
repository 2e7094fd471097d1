"""A catalogue's database written through a connection that stays open from test to test.

Opening a file with a connection of its own, as the program does it, takes longer than the rows of a
small case: `backbench.storage.database.writing` is tested where commands write.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

from backbench.storage import database
from backbench.storage.database import DATABASE_NAME, Database


@contextmanager
def attached(folder: Path) -> Iterator[Database]:
    """The database in a folder, with the newest schema; its file is whole when the block ends."""
    connection = _connection()
    name = str(folder / DATABASE_NAME).replace("'", "''")
    connection.execute(f"ATTACH '{name}' AS written")
    try:
        connection.execute("USE written")
        yield Database(connection)
    finally:
        connection.execute("USE memory")
        connection.execute("DETACH written")


@cache
def _connection() -> Any:
    return database.duckdb.connect(config=database.OFFLINE)
