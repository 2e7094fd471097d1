"""Chunks of captures analysed in this process or in a pool of others."""

from __future__ import annotations

import os
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from types import TracebackType

from backbench.errors import Fault, UserError
from backbench.ingest.analyse import stage_chunk
from backbench.ingest.analysis_plan import Job
from backbench.ingest.early_start import WORTH_A_POOL
from backbench.ingest.incremental import Work
from backbench.ingest.malloc_tuning import ask_large_pages, keep_freed
from backbench.progress import Progress
from backbench.storage.process_pool import end_at_once, started_pool


class Workers:
    """Analyses the chunks of reviews; reviews are collected in the order that suits the caller.

    With more than one process, and once enough captures are there, chunks are under way from
    when their review is begun. A pool of which a worker dies is replaced, and what it had not done
    is tried once more.

    early: a process that was begun before, to which chunks go at once.
    """

    def __init__(
        self,
        staged: Path,
        processes: int,
        progress: Progress,
        early: ProcessPoolExecutor | None = None,
    ) -> None:
        self.progress, self._staged, self._processes = progress, staged, processes
        self._waiting: dict[str, Work] = {}
        self._here: dict[str, list[Path]] = {}
        self._pool = early
        self._futures: dict[str, list[Future[Path]]] = {}

    def __enter__(self) -> Workers:
        return self

    def begin(self, work: Work) -> None:
        """A review that will be collected, while others are still being planned."""
        self._waiting[work.planned.key] = work
        jobs = sum(one.jobs for one in self._waiting.values())
        if self._pool is None and self._processes > 1 and jobs >= WORTH_A_POOL:
            self._pool = self._started()
        if self._pool is not None:
            for one in self._waiting.values():
                self._submit(one)
            self._waiting.clear()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._pool is None:
            return
        if error is None:
            self._pool.shutdown(wait=False, cancel_futures=True)
        else:
            end_at_once(self._pool)

    def at_once(self) -> None:
        """Analyse now what no pool is busy with: the caller has something else to wait for."""
        self._here |= {key: self._analysed_here(work) for key, work in self._waiting.items()}
        self._waiting.clear()

    def collect(self, work: Work) -> list[Path]:
        """The staged chunks of one review, once they are all there.

        Raises UserError where workers that measure it die again and again.
        """
        if work.planned.key not in self._futures:
            return self._here.pop(work.planned.key, None) or self._analysed_here(work)
        try:
            return self._awaited(work)
        except BrokenProcessPool:
            self._submit(work)
        try:
            return self._awaited(work)
        except BrokenProcessPool:
            fault = Fault(
                work.planned.key, "a worker process that ended twice while it measured this review",
                "one that stays", "see whether memory ran out, and run again",
            )  # fmt: skip
            raise UserError("the review could not be measured", [fault]) from None

    def _analysed_here(self, work: Work) -> list[Path]:
        folder = self._staged / work.planned.key
        return [self._counted(stage_chunk(chunk, folder), chunk) for chunk in work.chunks]

    def _awaited(self, work: Work) -> list[Path]:
        futures = self._futures[work.planned.key]
        if any(isinstance(f.exception(), BrokenProcessPool) for f in futures):
            raise BrokenProcessPool
        pairs = zip(futures, work.chunks, strict=True)
        return [self._counted(future.result(), chunk) for future, chunk in pairs]

    def _submit(self, work: Work) -> None:
        """Put a review's chunks under way, in another pool where a worker of this one has died."""
        assert self._pool is not None
        try:
            self._futures[work.planned.key] = self._under_way(self._pool, work)
        except BrokenProcessPool:
            self._pool = self._started()
            self._futures[work.planned.key] = self._under_way(self._pool, work)

    def _under_way(self, pool: ProcessPoolExecutor, work: Work) -> list[Future[Path]]:
        folder = self._staged / work.planned.key
        return [pool.submit(stage_chunk, chunk, folder) for chunk in work.chunks]

    def _counted(self, path: Path, chunk: tuple[Job, ...]) -> Path:
        self.progress(len(chunk))
        return path

    def _started(self) -> ProcessPoolExecutor:
        # Processes that have the cores to themselves: threads of theirs would only wait there.
        os.environ.setdefault("POLARS_MAX_THREADS", "1")
        ask_large_pages()
        return started_pool(self._processes, keep_freed, ())
