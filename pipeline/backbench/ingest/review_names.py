"""A review's key that is none, in words."""

from __future__ import annotations

from collections.abc import Iterable

from backbench.errors import UserError, unknown_key


def unknown_review(review: str, known: Iterable[str]) -> UserError:
    """The error for a key that is none, with one that is near."""
    fault = unknown_key("review", review, known, "see `backbench reviews`")
    return UserError("the review is not known", [fault])
