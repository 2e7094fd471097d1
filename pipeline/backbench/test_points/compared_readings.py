"""The readings that are held against test points, with what each tells by itself.

As a table of the connection alone: readings of some reviews are looked for once among those of all,
and what a reading tells by itself is told once, not again beside each of a hundred points.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from backbench.documents.kinds import loudspeaker_kinds
from backbench.metrics.declared_traits import declarations
from backbench.storage.database import Database
from backbench.test_points.points import of_family, sort_of_reading, sorts_by_kind
from backbench.test_points.scope import chosen_reviews

FULL_VOLUME = r"^\s*(full|fully|max|maximum|100 ?%)(\s|$)"
LEAST_VOLUME = r"^\s*(min|minimum|zero|0|0 ?%|down|fully down|off)\s*$"
"""How a volume setting says that the control is turned up, or down, whole."""

TOLD = {
    "rated_power_w": "appearance.rated_power_w",
    "input_sort": sort_of_reading("reading.", "reading.metric", "appearance.kind"),
    "may_be_full": "coalesce(regexp_matches(lower(reading.volume), $full), true)",
    "is_least": "coalesce(regexp_matches(lower(reading.volume), $least_volume), false)",
    "tap_ohm": "try_cast(regexp_extract(reading.tap, '[0-9.]+') AS DOUBLE)",
    "at_limit": "list_contains($at_limits, reading.metric)",
    "of_no_loudspeaker": "list_contains($loudspeaker_only, reading.metric) "
                         "AND NOT list_contains($loudspeaker_kinds, appearance.kind)",
}  # fmt: skip
"""Columns of table compared_reading beside those of reading."""
COMPARED = f"""
CREATE OR REPLACE TEMP TABLE compared_reading AS
SELECT reading.*, {", ".join(f"{sql} AS {name}" for name, sql in TOLD.items())}
FROM reading
JOIN appearance USING (review_key, unit_key)
WHERE {{chosen}}
"""


@contextmanager
def compared_readings(store: Database, review_keys: Sequence[str] | None) -> Iterator[None]:
    """Within it, table compared_reading holds the readings of the units of some reviews, or of all.

    Inside the caller's transaction.
    """
    chosen, values = chosen_reviews(review_keys)
    given = {
        "full": FULL_VOLUME,
        "least_volume": LEAST_VOLUME,
        "at_limits": [*of_family("greatest power")],
        "loudspeaker_only": [*declarations().having(lambda traits: traits.loudspeaker_only)],
        "loudspeaker_kinds": loudspeaker_kinds(),
    }
    store.run(COMPARED.format(chosen=chosen), {**given, **sorts_by_kind(), **values})
    yield
    store.run("DROP TABLE temp.compared_reading")
