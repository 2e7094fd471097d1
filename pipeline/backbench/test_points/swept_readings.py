"""Whether there are sweeps of levels at all: asked before what they give is worked out."""

from __future__ import annotations

from backbench.metrics.declared_traits import declarations
from backbench.metrics.power_sweep import LEAST_LEVELS
from backbench.storage.database import Database

OF_READINGS = (
    "review_key", "unit_key", "output", "metric", "order_n", "detail", "frequency_hz", "load_ohm",
    "input", "tap", "volume", "stimulus",
)  # fmt: skip
"""Columns of a reading that the steps of one sweep have in common."""

# Readings as many as the fewest steps: most reviews without a sweep have none.
ANY_SWEEP = f"""
SELECT 1
FROM compared_reading
WHERE list_contains($metrics, metric)
  AND stimulus IN ('tone', 'steps', 'distortion table') AND value IS NOT NULL
GROUP BY {", ".join(OF_READINGS)} HAVING count(*) >= $least
LIMIT 1
"""


def of_sweeps() -> dict[str, object]:
    """What makes readings the steps of a sweep: their metrics, and how many there are at least."""
    followed = declarations().having(lambda traits: traits.interpolated_in_power)
    return {"metrics": [*followed], "least": LEAST_LEVELS}


def any_sweep(store: Database) -> bool:
    """Whether there may be a sweep of levels in table compared_reading; if not, none is."""
    return bool(store.rows(ANY_SWEEP, of_sweeps()))
