"""The orchestrated way through the stages; the one place that knows Prefect.

Flows are thin: each task is one stage function over one review, so that the run history
shows reviews, and the same stages run without it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from prefect import flow, task
from prefect.cache_policies import NO_CACHE
from prefect.settings import PREFECT_FLOWS_HEARTBEAT_FREQUENCY, temporary_settings

from backbench.stages.ingest import Outcome, Refused, finish, recall_reviews, receive_reviews
from backbench.stages.ingest import works_of as stage_works_of
from backbench.stages.places import Places
from backbench.stages.plan import PlannedReview
from backbench.stages.work import Work
from backbench.stages.workers import Progress, Workers

Started = Callable[[int], None]


@task(name="receive reviews", cache_policy=NO_CACHE)
def receive_task(
    places: Places, folders: Sequence[Path] | None
) -> tuple[list[PlannedReview], list[Refused]]:
    """Keep originals and plan; without folders, plan what the ledger holds."""
    return recall_reviews(places) if folders is None else receive_reviews(places, folders)


@task(name="analyse a review", task_run_name="analyse {key}", retries=1, cache_policy=NO_CACHE)
def analyse_task(key: str, work: Work, workers: Workers) -> list[Path]:
    """Wait for the review's captures, which worker processes analyse."""
    return workers.collect(work)


@task(name="load a review", task_run_name="load {key}", retries=2, cache_policy=NO_CACHE)
def load_task(key: str, places: Places, work: Work, chunks: Sequence[Path]) -> Outcome:
    """One transaction; safe to try again."""
    return finish(places, work, chunks)


@flow(name="ingest", validate_parameters=False)
def ingest_flow(
    places: Places,
    folders: Sequence[Path] | None,
    processes: int,
    started: Started,
    progress: Progress,
) -> tuple[list[Outcome], list[Refused]]:
    """Take in review folders, or bring the whole ledger up to date where there are none."""
    planned, refused = receive_task(places, folders)
    works = stage_works_of(places, planned)
    started(sum(work.jobs for work in works))
    outcomes: list[Outcome] = []
    with Workers(works, places.staged, processes, progress) as workers:
        for work in works:
            key = work.planned.key
            chunks = analyse_task(key, work, workers) if work.jobs else []
            outcomes.append(load_task(key, places, work, chunks))
    return outcomes, refused


@contextmanager
def quiet() -> Iterator[None]:
    """No heartbeat: it costs more than a whole review, and a run here is watched anyway."""
    with temporary_settings({PREFECT_FLOWS_HEARTBEAT_FREQUENCY: None}):
        yield


def ingest_with_history(
    places: Places,
    folders: Sequence[Path] | None,
    processes: int,
    started: Started,
    progress: Progress,
) -> tuple[list[Outcome], list[Refused]]:
    """Run the flow. A running server is used where PREFECT_API_URL names one."""
    with quiet():
        return ingest_flow(places, folders, processes, started, progress)
