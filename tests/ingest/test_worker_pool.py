"""Reviews go on in another pool where a worker process has died."""

from __future__ import annotations

from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from backbench.ingest.worker_pool import WORTH_A_POOL, Workers
from backbench.progress import nothing


class Pool:
    """Takes chunks, and loses all of them where it dies, which it does at a wanted one."""

    def __init__(self, dies_at: str) -> None:
        self.dies_at, self.dead = dies_at, False
        self.futures: list[tuple[Future[Path], Path]] = []

    def submit(self, _: Any, chunk: list[str], folder: Path) -> Future[Path]:
        if self.dead:
            raise BrokenProcessPool
        future: Future[Path] = Future()
        self.futures.append((future, folder / chunk[0]))
        self.dead = chunk[0] == self.dies_at
        return future

    def end(self) -> None:
        for future, path in self.futures:
            if self.dead:
                future.set_exception(BrokenProcessPool())
            else:
                future.set_result(path)

    def shutdown(self, **_: Any) -> None:
        pass


def work(key: str) -> Any:
    return SimpleNamespace(planned=SimpleNamespace(key=key), jobs=WORTH_A_POOL, chunks=[[key]])


@pytest.fixture
def pools(monkeypatch: pytest.MonkeyPatch) -> list[Pool]:
    """The pools that were started; the first dies at the review "brant"."""
    started: list[Pool] = []

    def begun(_: Workers) -> Pool:
        started.append(Pool("" if started else "brant"))
        return started[-1]

    awaited = Workers._awaited

    def ended(workers: Workers, one: Any) -> list[Path]:
        for pool in started:
            pool.end()
            pool.futures.clear()
        return awaited(workers, one)

    monkeypatch.setattr(Workers, "_started", begun)
    monkeypatch.setattr(Workers, "_awaited", ended)
    return started


@pytest.mark.parametrize("keys", [("auk", "brant", "crake"), ("auk", "brant")])
def test_a_dead_worker_costs_no_review_and_one_pool(
    keys: tuple[str, ...], pools: list[Pool], tmp_path: Path
) -> None:
    """Whether it dies while reviews are still being planned or when all are under way."""
    with Workers(tmp_path, 2, nothing) as workers:
        for key in keys:
            workers.begin(work(key))
        collected = [workers.collect(work(key)) for key in keys]
    assert collected == [[tmp_path / key / key] for key in keys]
    assert len(pools) == 2
