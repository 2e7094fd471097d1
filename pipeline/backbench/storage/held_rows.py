"""Small tables that are to hold certain rows, and mostly do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from backbench.storage.database import Database


def hold_rows(store: Database, table: str, rows: Sequence[Mapping[str, object]]) -> bool:
    """Make a table hold exactly these rows; whether it held others. Writes nothing where not.

    Rows have the same keys, in the same order. Inside the caller's transaction.
    """
    columns = ", ".join(rows[0]) if rows else "*"
    held = store.rows(f"SELECT {columns} FROM {table}")
    if held == [tuple(row.values()) for row in rows]:
        return False
    store.run(f"DELETE FROM {table}")
    store.append(table, rows)
    return True
