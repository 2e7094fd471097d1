"""A site with pages of a few saved queries: each further page is made as these are."""

from __future__ import annotations

from pathlib import Path

from backbench.querying.saved_queries import SavedQuery, available

QUESTIONS = (
    "published-figures", "idle-noise-of-technology", "quietest-of-a-kind", "response-over-peers",
)  # fmt: skip


def few_available(root: Path) -> dict[str, SavedQuery]:
    """The saved queries of QUESTIONS, in place of all: for `backbench.publish.site.available`."""
    known = available(root)
    return {name: known[name] for name in QUESTIONS}
