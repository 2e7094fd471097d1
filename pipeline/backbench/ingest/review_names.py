"""A review's key that is none, or that of a withdrawn review, in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from backbench.errors import Fault, UserError, unknown_key
from backbench.storage.vault import Receipt


def unknown_review(review: str, known: Iterable[str]) -> UserError:
    """The error for a key that is none, with one that is near."""
    fault = unknown_key("review", review, known, "see `backbench reviews`")
    return UserError("the review is not known", [fault])


def review_not_there(
    review: str, known: Iterable[str], receipts: Mapping[str, Receipt]
) -> UserError:
    """The error for a review that the database lacks: withdrawn, or a key that is none.

    receipts: the newest of each review.
    """
    receipt = receipts.get(review)
    if receipt is None or receipt.withdrawn is None:
        return unknown_review(review, known)
    fault = withdrawn_fault(f"review {review!r}", receipt)
    return UserError("the review is withdrawn", [fault])


def withdrawn_fault(where: str, receipt: Receipt) -> Fault:
    """What a withdrawn review was withdrawn for, and how it is restored."""
    return Fault(
        where, f"withdrawn: {receipt.withdrawn}", "a review that stands",
        f"restore it with `backbench withdraw {receipt.review} --undo`",
    )  # fmt: skip
