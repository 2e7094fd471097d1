"""The database of an empty catalogue, made once in a process: its schema takes longer than a case
that is written into it."""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path

from backbench.documents.settings import Settings
from backbench.ingest.reference_tables import kind_rows
from backbench.storage.database import DATABASE_NAME, writing
from backbench.test_points.assign import sync_points


def put_empty_database(folder: Path) -> None:
    """Into a folder that has none."""
    path = folder / DATABASE_NAME
    if not path.exists():
        path.write_bytes(_empty())


@cache
def _empty() -> bytes:
    """With the test points and kinds that hold where no settings say otherwise."""
    with tempfile.TemporaryDirectory() as folder:
        with writing(Path(folder)) as store, store.transaction():
            sync_points(store, Settings())
            store.append("unit_kind", kind_rows())
        (path,) = Path(folder).glob(
            f"{DATABASE_NAME}*"
        )  # no log beside it that is still to be read
        return path.read_bytes()
