"""A review's key that is none, in words."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from backbench.errors import Fault, UserError


def unknown_review(review: str, known: Iterable[str]) -> UserError:
    """The error for a key that is none, with one that is near."""
    near = difflib.get_close_matches(review, list(known), n=1)
    remedy = f"did you mean {near[0]}?" if near else "see `backbench reviews`"
    fault = Fault(f"review {review!r}", "no such review", "a review's key", remedy)
    return UserError("the review is not known", [fault])
