"""How the making of a site is divided among processes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

Job = tuple[Literal["index", "reviews", "question"], tuple[str, ...]]
"""What one process makes: the pages that list; those of some reviews, by their keys; that of a
saved query."""
MOST_TOGETHER = 64
"""Reviews whose answers are asked for at once: few statements, and few rows in memory."""


@dataclass(frozen=True)
class Places:
    """Where a site is made from and to.

    root: the catalogue. copy: the folder with the copy of its database. aside: where the pages go.
    folder: the earlier site, whose like files are taken over.
    """

    root: Path
    copy: Path
    aside: Path
    folder: Path


def jobs_of(reviews: Sequence[str], questions: Sequence[str], processes: int) -> list[Job]:
    """Everything to be made; what takes longest first.

    reviews: newest first. They are dealt out in turn to as many jobs as there are processes, or a
    multiple of it, so that each has its share of the newest, whose charts are drawn.
    """
    rounds = -(-len(reviews) // (MOST_TOGETHER * processes))
    hands = max(1, rounds) * processes
    dealt = [tuple(reviews[n::hands]) for n in range(hands)]
    jobs: list[Job] = [("index", ("",))]
    jobs += [("reviews", keys) for keys in dealt if keys]
    return jobs + [("question", (name,)) for name in questions]
