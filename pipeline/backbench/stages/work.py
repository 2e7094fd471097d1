"""What a plan asks for that the database or an earlier run doesn't already hold."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from backbench.stages.places import Places
from backbench.stages.plan import Job, PlannedReview
from backbench.store import DATABASE_NAME, writing

CHUNK = 8
"""Captures of one review that a worker analyses before it leaves their rows on the disk."""


@dataclass(frozen=True)
class Standing:
    """What the database holds of a review: receipt, analyses, and files that failed and why."""

    receipt: int
    analyses: frozenset[str]
    failed: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Work:
    """A planned review with the chunks to analyse, and chunks that an earlier run left."""

    planned: PlannedReview
    chunks: tuple[tuple[Job, ...], ...]
    ready: tuple[Path, ...]
    standing: Standing | None

    @property
    def jobs(self) -> int:
        return sum(len(chunk) for chunk in self.chunks)

    @property
    def fresh(self) -> list[str]:
        """Analysis keys whose rows are to be loaded."""
        held = self.standing.analyses if self.standing else frozenset()
        return [c.analysis_key for c in self.planned.captures if c.analysis_key not in held]

    @property
    def unchanged(self) -> bool:
        """Whether the database already says all that the plan asks for."""
        if self.standing is None or self.fresh:
            return False
        asked = {capture.analysis_key for capture in self.planned.captures}
        same = self.standing.analyses == asked
        return same and self.standing.receipt == self.planned.receipt.number


def standing(places: Places) -> dict[str, Standing]:
    """What the database holds, by review."""
    if not (places.database / DATABASE_NAME).exists():
        return {}
    with writing(places.database) as store:
        receipts = store.rows("SELECT review_key, receipt FROM review")
        captures = store.rows(
            "SELECT review_key, analysis_key, file, CASE status WHEN 'failed' THEN reason END "
            "FROM capture ORDER BY review_key, position"
        )
    analyses: dict[str, set[str]] = {}
    failed: dict[str, list[tuple[str, str]]] = {}
    for key, analysis, file, reason in captures:
        analyses.setdefault(key, set()).add(analysis)
        failed.setdefault(key, []).extend([(file, reason)] if reason else [])
    return {
        key: Standing(receipt, frozenset(analyses.get(key, ())), tuple(failed.get(key, ())))
        for key, receipt in receipts
    }


def work_of(places: Places, planned: PlannedReview, held: Standing | None) -> Work:
    """Split a plan into what stands, what is staged and what is left to analyse."""
    done = held.analyses if held else frozenset()
    jobs = {c.analysis_key: c.job for c in planned.captures if c.job}
    wanted = [key for key in jobs if key not in done]
    staged = _staged(places.staged / planned.key, wanted)
    left = [jobs[key] for key in wanted if key not in staged]
    chunks = tuple(tuple(left[i : i + CHUNK]) for i in range(0, len(left), CHUNK))
    return Work(planned, chunks, tuple(sorted(set(staged.values()))), held)


def _staged(folder: Path, wanted: Iterable[str]) -> dict[str, Path]:
    """Whole chunks left by an earlier run whose analyses are all still asked for."""
    asked = set(wanted)
    found: dict[str, Path] = {}
    for result in sorted(folder.glob("*/result.parquet")):
        keys = pl.read_parquet(result, columns=["analysis_key"])["analysis_key"].to_list()
        if result.parent.suffix != ".part" and asked.issuperset(keys) and not found.keys() & keys:
            found |= dict.fromkeys(keys, result.parent)
    return found
