"""The kept values at test points: which units they are worked out anew for, and doing so.

Whatever changes readings, test points, metrics or the reviews of a unit renews them within the same
transaction; `schema/0014_values_at_points.sql` says what they are.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from backbench.storage.database import Database
from backbench.test_points.scope import OF_UNITS, chosen_reviews


def units_of(store: Database, review_keys: Sequence[str]) -> set[str]:
    """Keys of the units that some reviews have as the database holds them."""
    chosen, values = chosen_reviews(review_keys)
    found = store.rows(f"SELECT DISTINCT unit_key FROM appearance WHERE {chosen}", values)
    return {str(key) for (key,) in found}


def renew_values(store: Database, unit_keys: Collection[str] | None) -> None:
    """Work the kept values of some units out anew, or of all. Inside the caller's transaction.

    unit_keys: every unit that a changed review has, or had before it was changed.
    """
    chosen, values = "true", {}
    if unit_keys is not None:
        chosen, values = OF_UNITS, {"units": sorted(unit_keys)}
    store.run(f"DELETE FROM value_at_point WHERE {chosen}", values)
    store.run(
        f"INSERT INTO value_at_point BY NAME FROM worked_out_at_point WHERE {chosen} "
        "ORDER BY unit_key, metric, point_key, reading_key",
        values,
    )
