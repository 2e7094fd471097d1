"""Which reviews a statement is about."""

from __future__ import annotations

from collections.abc import Sequence


def chosen_reviews(review_keys: Sequence[str] | None) -> tuple[str, dict[str, object]]:
    """The SQL condition that picks these reviews (None: every one), and its parameters."""
    if review_keys is None:
        return "true", {}
    return "review_key IN (SELECT unnest($reviews))", {"reviews": [*review_keys]}
