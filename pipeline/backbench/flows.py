"""The orchestrated way through the stages; the one place that knows Prefect.

Flows are thin: each task is one stage function over one review, so that the run history
shows reviews, and the same stages run without it.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from prefect import flow, task
from prefect.cache_policies import NO_CACHE
from prefect.settings import PREFECT_FLOWS_HEARTBEAT_FREQUENCY, temporary_settings

from backbench.stages.ingest import Outcome, finish
from backbench.stages.places import Places
from backbench.stages.work import Work
from backbench.stages.workers import Progress, Workers


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
    places: Places, works: Sequence[Work], processes: int, progress: Progress
) -> list[Outcome]:
    """Analyse and load planned reviews, in order."""
    outcomes: list[Outcome] = []
    with Workers(works, places.staged, processes, progress) as workers:
        for work in works:
            key = work.planned.key
            chunks = analyse_task(key, work, workers) if work.jobs else []
            outcomes.append(load_task(key, places, work, chunks))
    return outcomes


def carry_out(
    places: Places, works: Sequence[Work], processes: int, progress: Progress
) -> list[Outcome]:
    """Run the flow. A running server is used where PREFECT_API_URL names one.

    The heartbeat is off: it costs more than a whole review, and a run here is watched anyway.
    """
    with temporary_settings({PREFECT_FLOWS_HEARTBEAT_FREQUENCY: None}):
        return ingest_flow(places, works, processes, progress)
