"""What a plan asks for that the database or an earlier run doesn't already hold."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from backbench.documents.manifest import Manifest
from backbench.ingest.analysis_plan import Job, PlannedReview
from backbench.ingest.reading_rows import DEFECT, digest
from backbench.ingest.staging import analyses_of
from backbench.metrics.registry import registry
from backbench.storage.catalogue_paths import CataloguePaths
from backbench.storage.database import DATABASE_NAME, writing
from backbench.storage.vault import AGAIN, RESTORE

CHUNK = 16
"""The most captures of one review that a worker analyses before it leaves their rows."""


@dataclass(frozen=True)
class StoredReview:
    """What the database holds of a review: its receipt and analyses.

    derived_with: digest of the method versions that its metrics across captures rest on.
    terms: of the bench that it was computed with, by input range.
    """

    receipt: int
    derived_with: str
    analyses: frozenset[str]
    terms: frozenset[tuple[str, str]]


@dataclass(frozen=True)
class Work:
    """A planned review with the chunks to analyse, and chunks that an earlier run left.

    folder: the review folder that was read now, where there is one.
    """

    planned: PlannedReview
    chunks: tuple[tuple[Job, ...], ...]
    ready: tuple[Path, ...]
    standing: StoredReview | None
    folder: Path | None = None

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
        planned_analyses = {capture.analysis_key for capture in self.planned.captures}
        return (
            self.standing.analyses == planned_analyses
            and self.standing.receipt == self.planned.receipt.number
            and self.standing.derived_with == derived_with(self.planned.manifest)
            and self.standing.terms == frozenset(self.planned.terms)
        )


def derivation_versions() -> dict[str, int]:
    """Method versions of everything that is worked out across captures."""
    known = registry()
    metrics = {metric.name: metric.version for metric in known.derivations()}
    return metrics | {f"curve {c.name}": c.version for c in known.curve_derivations()}


def derived_with(manifest: Manifest) -> str:
    """Digest of the method versions across captures, of those that entered figures stand at, and
    of what was refused."""
    metrics = registry().metrics
    entered = {one.metric: metrics[one.metric].version for one in manifest.entered}
    refused = [[*entry.place, entry.reason] for entry in manifest.refused]
    return digest(derivation_versions(), *[part for part in (entered, refused) if part])


def standing(places: CataloguePaths) -> dict[str, StoredReview]:
    """What the database holds, by review."""
    if not (places.database / DATABASE_NAME).exists():
        return {}
    with writing(places.database) as store:
        reviews = store.rows("SELECT review_key, receipt, derived_with FROM review")
        analysed = store.rows(
            "SELECT review_key, list(analysis_key) FROM capture WHERE status <> 'failed' "
            "GROUP BY review_key"
        )
        failed = store.rows(
            "SELECT review_key, analysis_key, reason FROM capture WHERE status = 'failed'"
        )
        computed = store.rows("SELECT review_key, input_range, terms FROM computed_with")
    terms: dict[str, set[tuple[str, str]]] = {}
    for key, name, text in computed:
        terms.setdefault(key, set()).add((name, text))
    analyses = {key: set(of_review) for key, of_review in analysed}
    for key, analysis, reason in failed:
        if not passes(reason):
            analyses.setdefault(key, set()).add(analysis)
    return {
        key: StoredReview(
            receipt, derived, frozenset(analyses.get(key, ())), frozenset(terms.get(key, ()))
        )
        for key, receipt, derived in reviews
    }


def passes(reason: str | None) -> bool:
    """Whether a failure is none of the file's own: it is tried again at every run."""
    return reason is not None and (reason.endswith((RESTORE, AGAIN)) or reason.startswith(DEFECT))


def work_of(places: CataloguePaths, planned: PlannedReview, held: StoredReview | None) -> Work:
    """Split a plan into what stands, what is staged and what is left to analyse."""
    done = held.analyses if held else frozenset()
    jobs = {c.analysis_key: c.job for c in planned.captures if c.job}
    wanted = [key for key in jobs if key not in done]
    staged = _staged(places.staged / planned.key, wanted)
    left = [jobs[key] for key in wanted if key not in staged]
    return Work(planned, _even_chunks(left), tuple(sorted(set(staged.values()))), held)


def _even_chunks(jobs: Sequence[Job]) -> tuple[tuple[Job, ...], ...]:
    """Chunks of nearly one size, so that workers that share a review end together."""
    count = math.ceil(len(jobs) / CHUNK)
    edges = [len(jobs) * n // count for n in range(count + 1)] if count else []
    return tuple(tuple(jobs[a:b]) for a, b in itertools.pairwise(edges))


def _staged(folder: Path, wanted: Iterable[str]) -> dict[str, Path]:
    """Whole chunks left by an earlier run whose analyses are all still asked for."""
    still_wanted = set(wanted)
    chunks: dict[str, Path] = {}
    for result in sorted(folder.glob("*/result.parquet")):
        keys = analyses_of(result.parent)
        if keys and still_wanted.issuperset(keys) and not chunks.keys() & keys:
            chunks |= dict.fromkeys(keys, result.parent)
    return chunks
