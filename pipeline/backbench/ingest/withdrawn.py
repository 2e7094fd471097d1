"""Reviews that the ledger says are withdrawn leave the database, now or at the next command."""

from __future__ import annotations

from backbench.ingest.review_tables import ANALYSIS_TABLES, WRITTEN_TABLES
from backbench.storage.catalogue_paths import CataloguePaths
from backbench.storage.database import DATABASE_NAME, Database, writing
from backbench.test_points.assign import renew_kept
from backbench.test_points.values_at_points import units_of


def drop_withdrawn(places: CataloguePaths) -> list[str]:
    """Delete the rows of every withdrawn review; the keys of those that had any."""
    if not (places.database / DATABASE_NAME).exists():
        return []
    withdrawn = places.ledger.withdrawn()
    if not withdrawn:
        return []
    with writing(places.database) as store, store.transaction():
        held = "SELECT review_key FROM review WHERE review_key IN (SELECT unnest(?))"
        present = [str(key) for (key,) in store.rows(held, [withdrawn])]
        if present:
            units = units_of(store, present)
            for review in present:
                _drop_review(store, review)
            renew_kept(store, units)
    return present


def _drop_review(store: Database, review: str) -> None:
    for table in (*ANALYSIS_TABLES, *WRITTEN_TABLES):
        store.run(f"DELETE FROM {table} WHERE review_key = ?", [review])
