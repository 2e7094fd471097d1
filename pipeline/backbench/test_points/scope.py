"""Which reviews a statement is about."""

from __future__ import annotations

from collections.abc import Sequence

OF_UNITS = "list_contains($units, unit_key)"
"""The SQL condition that picks the units of a list: a join would be carried out later."""


def chosen_reviews(review_keys: Sequence[str] | None) -> tuple[str, dict[str, object]]:
    """The SQL condition that picks these reviews (None: every one), and its parameters."""
    if review_keys is None:
        return "true", {}
    # What equals one key is looked for in every table that a statement joins, what is among several
    # in one of them.
    one = len(review_keys) == 1
    chosen = "review_key = $reviews[1]" if one else "review_key IN (SELECT unnest($reviews))"
    return chosen, {"reviews": [*review_keys]}
