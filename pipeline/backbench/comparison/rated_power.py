"""The rated power of a unit as a figure that its maker promised."""

from __future__ import annotations

from typing import Any

from backbench.metrics.declared_traits import declarations
from backbench.quantities.writing import MOST_DIGITS, in_text
from backbench.storage.database import Database

LIMIT_PERCENT = 1.0
"""The distortion limit at which a rated power is judged that states none."""
PRINTED_IN = "rated power, for which no distortion limit is stated"

# Judged under the load that the powers of the review were measured into: 8 ohm before others.
RATED = """
SELECT rated_power_w, metric, title, metric.unit, better, load_ohm, frequency_hz
FROM appearance
JOIN reading USING (review_key, unit_key)
JOIN metric USING (metric, method_version)
WHERE review_key = $review AND unit_key = $unit AND rated_power_w IS NOT NULL
  AND list_contains($metrics, metric) AND value IS NOT NULL AND limit_percent = $limit
ORDER BY abs(ln(load_ohm / 8)) NULLS LAST, abs(ln(frequency_hz / 1000)) NULLS LAST
LIMIT 1
"""


def rated_power(store: Database, keys: dict[str, object]) -> list[dict[str, Any]]:
    """A row as table published has them, for a unit that states a rated power; else none.

    keys: review and unit. A unit whose power was never measured has none either: it is among
    what is missing.
    """
    metrics = [*declarations().having(lambda traits: traits.listening == "greatest pressure")]
    rows = store.records(RATED, {**keys, "metrics": metrics, "limit": LIMIT_PERCENT})
    return [
        {
            "metric": row["metric"], "title": row["title"], "unit": row["unit"],
            "better": row["better"], "side": "at least", "limit_value": row["rated_power_w"],
            "printed": in_text(row["rated_power_w"], "W", MOST_DIGITS), "printed_in": PRINTED_IN,
            "frequency_hz": row["frequency_hz"], "power_w": None, "load_ohm": row["load_ohm"],
            "limit_percent": LIMIT_PERCENT, "band_low_hz": None, "band_high_hz": None,
        }
        for row in rows
    ]  # fmt: skip
