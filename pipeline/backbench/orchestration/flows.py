"""The orchestrated way through the stages; the one place that knows Prefect.

Flows are thin: each task is one stage function over a few reviews, so that the run history
names them, and the same stages run without it.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast
from urllib.parse import urlsplit

from prefect import flow, get_run_logger, task
from prefect.cache_policies import NO_CACHE
from prefect.exceptions import PrefectException
from prefect.settings import (
    PREFECT_API_URL,
    PREFECT_FLOWS_HEARTBEAT_FREQUENCY,
    temporary_settings,
)
from prefect.utilities.annotations import quote

from backbench.documents.settings import Cluster
from backbench.errors import Fault, UserError
from backbench.ingest.carry_on import carry_on
from backbench.ingest.inbox import settled
from backbench.ingest.incremental import Work
from backbench.ingest.run_ingest import (
    Collected,
    Ended,
    apart,
    collected,
    finish,
    in_groups,
    planned_work,
    prepare,
)
from backbench.ingest.worker_pool import Workers
from backbench.orchestration import run_server
from backbench.orchestration.dask_cluster import ClusterWorkers, Request, Tables, analyse_on_worker
from backbench.orchestration.server_process import LOOPBACK_NAMES
from backbench.orchestration.shared_originals import Copies, error_text
from backbench.progress import nothing
from backbench.storage.catalogue_paths import CataloguePaths, places

if TYPE_CHECKING:
    from prefect.futures import PrefectFuture
    from prefect.task_runners import TaskRunner

T = TypeVar("T")
PATIENCE_S = 5
"""How long a scheduler may take to answer."""
ON_THIS_MACHINE = 'or set engine = "local"'
WATCHED = "BACKBENCH_WATCHED"
"""The environment variable that tells the runs of a watched inbox what to do, as JSON."""


@task(name="analyse", task_run_name="analyse {keys}", retries=1, cache_policy=NO_CACHE)
def analyse_task(keys: str, group: Sequence[Work], workers: Workers) -> list[Collected]:
    """Wait for the captures of some reviews, which worker processes analyse."""
    return [collected(workers, work) for work in group]


@task(
    name="analyse on a cluster", task_run_name="analyse {captures}", retries=1,
    cache_policy=NO_CACHE, persist_result=False,
)  # fmt: skip
def cluster_task(captures: str, request: Request) -> Tables:
    """Runs on a worker; the scheduler gives it to another one where that worker is lost."""
    return analyse_on_worker(request)


@task(name="load", task_run_name="load {keys}", retries=2, cache_policy=NO_CACHE)
def load_task(keys: str, places: CataloguePaths, group: Sequence[Collected]) -> list[Ended]:
    """One transaction; safe to try again."""
    ended = finish(places, group)
    _note(ended)
    return ended


def _note(ended: Sequence[Ended]) -> None:
    """How each review ended into the run's log: what isn't whole, and warnings, as warnings."""
    log = get_run_logger()
    outcomes, refused = apart(ended)
    for item in refused:
        log.warning("%s was not ingested: %s", item.source, item.error)
    for outcome in outcomes:
        log.info("%s: %s", outcome.review, outcome.ended.counts())
        for line in [*outcome.ended.faults(), *outcome.ended.warnings()]:
            log.warning("%s: %s", outcome.review, line)


@flow(name="inbox", retries=1, retry_delay_seconds=10)
def inbox() -> list[str]:
    """Ingest the settled review folders of the watched inbox; the reviews that changed.

    Which folder, and into which catalogue, comes from the process that watches, never from
    parameters of a run: these come over the network.
    """
    watched = json.loads(os.environ[WATCHED])
    settle_s, site = float(watched["settle_s"]), bool(watched["site"])
    home, folder = places(Path(watched["catalogue"])), watched["folder"]
    with home.changing():
        prepare(home)
        _, left = carry_on(home)
        works, refused = planned_work(home, settled(Path(folder), settle_s))
        fresh = [work for work in works if not work.unchanged]
        processes = len(os.sched_getaffinity(0))
        with Workers(home.staged, processes, nothing) as workers:
            for work in fresh:
                workers.begin(work)
            outcomes, _ = apart(carry_out(home, fresh, workers) if fresh else [])
    for item in [*left, *refused]:
        get_run_logger().warning("%s was not ingested: %s", item.source, item.error)
    if outcomes and site:
        from backbench.publish.site import publish

        publish(home.root, home.root / "published" / "site", processes)
    return [outcome.review for outcome in outcomes]


def watch_inbox(catalogue: Path, folder: Path, every_s: float, settle_s: float, site: bool) -> None:
    """Serve the inbox flow as a deployment that runs every so often, until interrupted.

    Needs a running server, named by PREFECT_API_URL. One run at a time.
    """
    watched = {
        "catalogue": str(catalogue), "folder": str(folder), "settle_s": settle_s, "site": site,
    }  # fmt: skip
    os.environ[WATCHED] = json.dumps(watched)
    inbox.serve(name="inbox", interval=every_s, limit=1, print_starting_message=False)


def carry_out(places: CataloguePaths, works: list[Work], workers: Workers) -> list[Ended]:
    """Analyse and load planned reviews, in order, as one recorded run.

    A running server is used where PREFECT_API_URL names one. Captures are under way while a
    server starts, which takes longer than a review. Raises UserError where the orchestrator
    fails.
    """
    workers.at_once()
    return _recorded(
        places,
        works,
        lambda keys, group: analyse_task(keys, _unsearched(group), _unsearched(workers)),
    )


def carry_out_on_cluster(
    places: CataloguePaths, works: list[Work], workers: Workers
) -> list[Ended]:
    """The same with the workers of the scheduler that the settings name, if there are captures.

    Workers tell the server of their tasks too, so that it must be one that they reach.
    Raises UserError where something doesn't answer.
    """
    if not any(work.jobs for work in works):
        return carry_out(places, works, workers)
    cluster = places.settings.workers
    assert cluster is not None
    _refuse_server_out_of_reach(cluster)
    runner = _runner(cluster)

    def send(request: Request) -> ClusterAnswer:
        return ClusterAnswer(cluster_task.submit(request.captures, request), request.captures)

    copies = Copies(places.vault, cluster.originals)
    cluster_workers = ClusterWorkers(works, places.staged, copies, send, workers.progress)
    return _recorded(
        places, works,
        lambda _, group: [(work, cluster_workers.collect(work)) for work in group], runner,
    )  # fmt: skip


def _recorded(
    places: CataloguePaths,
    works: list[Work],
    collect: Callable[[str, Sequence[Work]], list[Collected]],
    runner: TaskRunner[Any] | None = None,
) -> list[Ended]:
    """The run is recorded with the reviews' keys only: works are large, and a server takes no
    parameters over 512 KiB. The heartbeat is off: it costs more than a whole review, and a run
    here is watched anyway.
    """

    def carried_out() -> Iterator[Ended]:
        for group in in_groups(works):
            keys = ", ".join(work.planned.key for work in group)
            yield from load_task(keys, _unsearched(places), _unsearched(collect(keys, group)))

    carrying = OfThisProcess(carried_out)

    @flow(name="ingest", validate_parameters=False, task_runner=runner)
    def ingest(reviews: list[str]) -> list[Ended]:
        return list(carrying.function())

    keys = [work.planned.key for work in works]
    try:
        with temporary_settings({PREFECT_FLOWS_HEARTBEAT_FREQUENCY: None}):
            run_server.awaited()
            return ingest(keys)
    except PrefectException as error:
        fault = Fault(
            "run history", error_text(error), "an orchestrator that answers", "or use --direct"
        )
        raise UserError("the run could not be recorded", [fault]) from error


def _unsearched(value: T) -> T:
    """What a task of this process gets as it is: the orchestrator looks through every object of a
    parameter for results of other tasks otherwise, which takes longer than the loading."""
    return cast("T", quote(value))


class OfThisProcess:
    """A function that stays here where the flow that calls it is sent along with each task."""

    def __init__(self, function: Callable[[], Iterator[Ended]]) -> None:
        self.function = function

    def __reduce__(self) -> tuple[type[OfThisProcess], tuple[Callable[[], Iterator[Ended]]]]:
        return OfThisProcess, (_not_here,)


def _not_here() -> Iterator[Ended]:
    raise AssertionError("the flow is carried out where it was begun")


class ClusterAnswer:
    """What the workers give for some captures."""

    def __init__(self, future: PrefectFuture[Tables], captures: str) -> None:
        self._future, self._captures = future, captures

    def result(self) -> Tables:
        """Wait for it. Raises UserError, also where the scheduler or too many workers are lost."""
        from distributed import CancelledError, KilledWorker

        try:
            return self._future.result()
        except KilledWorker:
            fault = Fault(
                self._captures, "several workers lost one after another",
                "workers that keep running", "see their memory and their logs",
            )  # fmt: skip
        except CancelledError:
            fault = Fault("the scheduler", "no answer any more", "one that stays",
                          "run again: what is done is kept")  # fmt: skip
        except RuntimeError as error:
            fault = Fault("the scheduler", error_text(error), "the same backbench there as here",
                          "install it there, and start scheduler and workers anew")  # fmt: skip
        raise UserError("the cluster could not finish", [fault])


def _runner(cluster: Cluster) -> TaskRunner[Any]:
    """Sends tasks to the scheduler. Raises UserError where it or its workers don't answer."""
    try:
        from distributed import Client
        from prefect_dask import DaskTaskRunner
    except ImportError as error:
        fault = Fault("backbench", error_text(error), "the extra backbench[dask]", "install it")
        raise UserError('the engine "dask" is not installed', [fault]) from None
    try:
        with Client(cluster.scheduler, timeout=PATIENCE_S, set_as_default=False) as client:
            threads = client.nthreads()
    except (OSError, ValueError) as error:
        fault = Fault(cluster.scheduler, error_text(error), "a Dask scheduler that answers",
                      ON_THIS_MACHINE)  # fmt: skip
        raise UserError("the scheduler can't be reached", [fault]) from None
    if not threads:
        fault = Fault(cluster.scheduler, "no workers", "at least one worker", "start a worker")
        raise UserError("the scheduler has no workers", [fault])
    runner: TaskRunner[Any] = DaskTaskRunner(
        address=cluster.scheduler, client_kwargs={"timeout": PATIENCE_S}
    )
    return runner


def _refuse_server_out_of_reach(cluster: Cluster) -> None:
    """A server on loopback will do only where the scheduler is there, too."""
    server = PREFECT_API_URL.value()
    if urlsplit(cluster.scheduler).hostname in LOOPBACK_NAMES:
        return
    if server is None or urlsplit(server).hostname in LOOPBACK_NAMES:
        fault = Fault(
            "PREFECT_API_URL", "no server but this machine's own", "one that the workers reach",
            f"start one there, {ON_THIS_MACHINE}",
        )  # fmt: skip
        raise UserError("the run could not be recorded", [fault])
