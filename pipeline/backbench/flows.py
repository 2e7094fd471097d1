"""The orchestrated way through the stages; the one place that knows Prefect.

Flows are thin: each task is one stage function over a few reviews, so that the run history
names them, and the same stages run without it.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from prefect import flow, get_run_logger, task
from prefect.cache_policies import NO_CACHE
from prefect.exceptions import PrefectException
from prefect.settings import PREFECT_FLOWS_HEARTBEAT_FREQUENCY, temporary_settings

from backbench.errors import Fault, UserError
from backbench.stages.inbox import settled
from backbench.stages.ingest import Outcome, finish, in_groups, planned_work, prepare
from backbench.stages.places import Places, places
from backbench.stages.work import Work
from backbench.stages.workers import Progress, Workers


@task(name="analyse", task_run_name="analyse {keys}", retries=1, cache_policy=NO_CACHE)
def analyse_task(keys: str, group: Sequence[Work], workers: Workers) -> list[list[Path]]:
    """Wait for the captures of some reviews, which worker processes analyse."""
    return [workers.collect(work) for work in group]


@task(name="load", task_run_name="load {keys}", retries=2, cache_policy=NO_CACHE)
def load_task(
    keys: str, places: Places, group: Sequence[Work], chunks: Sequence[Sequence[Path]]
) -> list[Outcome]:
    """One transaction; safe to try again."""
    return finish(places, list(zip(group, chunks, strict=True)))


@flow(name="inbox", retries=1, retry_delay_seconds=10)
def inbox(catalogue: str, folder: str, settle_s: float, site: bool) -> list[str]:
    """Take in the settled review folders of an inbox; the reviews that changed."""
    home = places(Path(catalogue))
    with home.changing():
        prepare(home)
        works, refused = planned_work(home, settled(Path(folder), settle_s))
        fresh = [work for work in works if not work.unchanged]
        processes = len(os.sched_getaffinity(0))
        outcomes = carry_out(home, fresh, processes, lambda _: None) if fresh else []
    for item in refused:
        get_run_logger().warning("%s was not taken in: %s", item.source, item.error)
    if outcomes and site:
        from backbench.publish.site import publish

        publish(home.root, home.root / "published" / "site", processes)
    return [outcome.review for outcome in outcomes]


def watch_inbox(catalogue: Path, folder: Path, every_s: float, settle_s: float, site: bool) -> None:
    """Serve the inbox flow as a deployment that runs every so often, until interrupted.

    Needs a running server, named by PREFECT_API_URL. One run at a time.
    """
    parameters = {
        "catalogue": str(catalogue), "folder": str(folder), "settle_s": settle_s, "site": site,
    }  # fmt: skip
    inbox.serve(
        name="inbox", interval=every_s, parameters=parameters, limit=1, print_starting_message=False
    )


def carry_out(
    places: Places, works: Sequence[Work], processes: int, progress: Progress
) -> list[Outcome]:
    """Analyse and load planned reviews, in order, as one recorded run.

    A running server is used where PREFECT_API_URL names one. The run is recorded with the
    reviews' keys only: works are large, and a server takes no parameters over 512 KiB. The
    heartbeat is off: it costs more than a whole review, and a run here is watched anyway.
    Captures are under way while a server starts, which takes longer than a review.
    Raises UserError where the orchestrator fails.
    """

    @flow(name="ingest", validate_parameters=False)
    def ingest(reviews: list[str]) -> list[Outcome]:
        outcomes: list[Outcome] = []
        for group in in_groups(works):
            keys = ", ".join(work.planned.key for work in group)
            chunks = analyse_task(keys, group, workers)
            outcomes += load_task(keys, places, group, chunks)
        return outcomes

    keys = [work.planned.key for work in works]
    try:
        with (
            temporary_settings({PREFECT_FLOWS_HEARTBEAT_FREQUENCY: None}),
            Workers(works, places.staged, processes, progress, meanwhile=True) as workers,
        ):
            return ingest(keys)
    except PrefectException as error:
        found = str(error).splitlines()[0][:200]
        fault = Fault("run history", found, "an orchestrator that answers", "or use --direct")
        raise UserError("the run could not be recorded", [fault]) from error
