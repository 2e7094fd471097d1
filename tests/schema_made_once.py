"""New databases in the process of the tests: the schema is made once and copied."""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path

from backbench.storage import database

Steps = tuple[tuple[int, str, str], ...]


def use_one_schema() -> None:
    """Have every new database of this process be a copy of the first one of its schema steps."""
    database._make = _copied


def _copied(path: Path) -> None:
    """As `backbench.storage.database` does it, but for the running of the schema's statements."""
    steps = tuple(database.migrations())
    with tempfile.TemporaryDirectory(prefix=database.MAKING, dir=path.parent) as aside:
        (Path(aside) / database.DATABASE_NAME).write_bytes(_of(steps))
        database.take_place(Path(aside), path.parent)


@cache
def _of(steps: Steps) -> bytes:
    """An empty database with the schema that these steps make; they are those in force now."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / database.DATABASE_NAME
        with database._connected(path, read_only=False, config=database.OFFLINE) as store:
            database.migrate(store)
        (path,) = Path(folder).glob(f"{database.DATABASE_NAME}*")  # no log is left beside it
        return path.read_bytes()
