"""Why a saved query has no answer for one unit, in a sentence."""

from __future__ import annotations

from backbench.querying.saved_queries import SavedQuery
from backbench.storage.database import Database

LABEL = "SELECT label FROM peer WHERE unit_key = $unit"
READINGS = """
SELECT value IS NOT NULL AS measured, reason
FROM reading JOIN review USING (review_key)
WHERE unit_key = $unit AND list_contains($metrics, metric)
ORDER BY reviewed DESC, measured DESC, reading_key
"""


def missing_reason(store: Database, query: SavedQuery, unit_key: str) -> str:
    """The unit by its label, and why the query's answer has no value of it."""
    labels = store.rows(LABEL, {"unit": unit_key})
    label = str(labels[0][0]) if labels else unit_key
    subject = f"{label} has no value here"
    if not query.metrics:
        return f"{subject}: no capture of the kind that this question needs."
    rows = store.rows(READINGS, {"unit": unit_key, "metrics": list(query.metrics)})
    if not rows:
        return f"{subject}: it was not measured in any review."
    if any(measured for measured, _ in rows):
        return f"{subject}: it was measured, but not under these conditions."
    return f"{subject}: {str(rows[0][1]).rstrip('.')}."
