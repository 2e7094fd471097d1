"""What is deleted with a review: the rows of every table that names one."""

from __future__ import annotations

from pathlib import Path

from backbench.ingest.review_tables import ANALYSIS_TABLES, KEPT_TABLES, WRITTEN_TABLES
from backbench.storage.database import reading
from empty_database import put_empty_database

NAMING = """
SELECT table_name FROM duckdb_columns() JOIN duckdb_tables() USING (table_name)
WHERE column_name = 'review_key'
"""


def test_every_table_that_names_a_review_is_listed_once(tmp_path: Path) -> None:
    put_empty_database(tmp_path)
    with reading(tmp_path) as store:
        naming = sorted(name for (name,) in store.rows(NAMING))
    assert naming == sorted([*ANALYSIS_TABLES, *WRITTEN_TABLES, *KEPT_TABLES])
