"""Chunks of captures analysed by workers of other machines, which see one storage of originals.

Knows neither the orchestrator nor the scheduler: the flow says how a chunk is sent.
"""

from __future__ import annotations

import os
import threading
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Protocol

from backbench.errors import MISSING, Fault, UserError
from backbench.ingest.analyse import analyse, tables_of
from backbench.ingest.analysis_plan import Job
from backbench.ingest.incremental import Work
from backbench.ingest.load import environment
from backbench.ingest.staging import analyses_of, leave_chunk
from backbench.orchestration.shared_originals import Copies, fetch
from backbench.progress import Progress
from backbench.storage.scratch import scratch_folder
from backbench.storage.vault import Vault

AHEAD = 512
"""Chunks sent and not yet taken: enough for some hundred workers; their rows wait in memory."""
THREADS = "OPENBLAS_NUM_THREADS"
Tables = dict[str, bytes]
"""The staged tables of a chunk as Parquet, by name."""
_one_at_a_time = threading.Lock()


class Request:
    """Some captures as they are sent to a worker; no path of this machine among them.

    No dataclass: orchestrator and scheduler would search it for results of other tasks.

    versions: what the catalogue will record that these numbers were computed with.
    """

    def __init__(self, chunk: Sequence[Job], originals: str, versions: Mapping[str, str]) -> None:
        self.jobs = [job.placed(Path) for job in chunk]
        self.originals, self.versions = originals, dict(versions)

    @property
    def captures(self) -> str:
        """Which they are, in words."""
        first, last = self.jobs[0], self.jobs[-1]
        return f"{first.review_key}, captures {first.position} to {last.position}"


def analyse_on_worker(request: Request) -> Tables:
    """Fetch the originals of some captures by hash and analyse them.

    Raises UserError where this machine would compute otherwise, or can't read the storage.
    """
    _refuse_other_conditions(request.versions)
    sources = [source for job in request.jobs for source in job.sources]
    # A worker may run several tasks in threads; the analysis is written for one a process.
    with _one_at_a_time, scratch_folder() as folder:
        vault = Vault(folder)
        faults = fetch(request.originals, sources, vault)

        def bring(job: Job) -> Job:
            lacking = [
                replace(faults[source.sha256], where=source.name)
                for source in job.own_sources
                if source.sha256 in faults
            ]
            if lacking:
                raise UserError("the storage of originals is damaged", lacking)
            return job.placed(vault.path)

        return tables_of([analyse(job, bring) for job in request.jobs])


def _refuse_other_conditions(versions: Mapping[str, str]) -> None:
    """Versions, and threads that share a sum, tell in the last digit of a number."""
    held = {**environment(), THREADS: os.environ.get(THREADS, MISSING)}
    faults = [
        Fault(
            f"{name} of a worker",
            held.get(name, MISSING),
            value,
            f"start the worker with {THREADS}=1"
            if name == THREADS
            else "install the same version on the worker",
        )
        for name, value in {**versions, THREADS: "1"}.items()
        if held.get(name) != value
    ]
    if faults:
        raise UserError("a worker has other versions or threads than would be recorded", faults)


class Answer(Protocol):
    """What a chunk that was sent will come to."""

    def result(self) -> Tables:
        """Wait for the tables. Raises UserError."""


class ClusterWorkers:
    """Sends the chunks of reviews to workers elsewhere, and stages what they give back.

    send: hands a request over, at once.
    """

    def __init__(
        self,
        works: Sequence[Work],
        staged: Path,
        copies: Copies,
        send: Callable[[Request], Answer],
        progress: Progress,
    ) -> None:
        self._staged, self._copies, self._send, self._progress = staged, copies, send, progress
        self._left = deque(chunk for work in works for chunk in work.chunks)
        self._answers: deque[Answer] = deque()

    def collect(self, work: Work) -> list[Path]:
        """The staged chunks of one review, once they are all there; reviews in their order."""
        folder = self._staged / work.planned.key
        return [self._staged_chunk(chunk, folder) for chunk in work.chunks]

    def _staged_chunk(self, chunk: tuple[Job, ...], folder: Path) -> Path:
        self._send_ahead()
        path = leave_chunk(self._answers.popleft().result(), folder)
        if analyses_of(path) != [job.analysis_key for job in chunk]:
            fault = Fault("a worker", "rows of other methods", "the methods of this machine",
                          "install the same version of backbench on the worker")  # fmt: skip
            raise UserError("a worker returned other rows than were requested", [fault])
        self._progress(len(chunk))
        return path

    def _send_ahead(self) -> None:
        while self._left and len(self._answers) < AHEAD:
            chunk = self._left.popleft()
            self._copies.bring(source for job in chunk for source in job.sources)
            self._answers.append(self._send(Request(chunk, self._copies.url, environment())))
