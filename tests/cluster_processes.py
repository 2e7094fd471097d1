"""A small cluster on loopback in real processes: scheduler, workers, run server, S3 server."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from backbench.orchestration import run_server
from command_desk import Desk

if TYPE_CHECKING:  # both take long to import: whoever only collects the tests shouldn't wait
    import distributed

BUCKET = "bench"
PATIENCE_S = 300.0


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def awaited(what: Callable[[], bool]) -> None:
    give_up = time.monotonic() + PATIENCE_S
    while not what():
        assert time.monotonic() < give_up, "waited in vain"
        time.sleep(0.05)


class Machines:
    """What stands for other machines. Workers stay as many as asked for, until one is killed.

    preload: a file that each worker runs when it starts.
    """

    def __init__(self, folder: Path, s3_address: str, preload: Path | None = None) -> None:
        self.folder = folder
        self._more = ["--preload", str(preload)] if preload else []
        self.scheduler = f"tcp://127.0.0.1:{free_port()}"
        self.server = f"http://127.0.0.1:{free_port()}/api"
        self.environment = {
            **os.environ, "PREFECT_API_URL": self.server, "PREFECT_HOME": str(folder / "runs"),
            "PREFECT_SERVER_ANALYTICS_ENABLED": "false", "DO_NOT_TRACK": "1",
            "FSSPEC_S3_ENDPOINT_URL": s3_address, "AWS_ACCESS_KEY_ID": "no-secret",
            "AWS_SECRET_ACCESS_KEY": "no-secret", "AWS_DEFAULT_REGION": "us-east-1",
            # As a nanny of Dask sets it for its worker.
            "OPENBLAS_NUM_THREADS": "1",
        }  # fmt: skip
        self.named: dict[str, subprocess.Popen[Any]] = {}
        self.workers: dict[str, subprocess.Popen[bytes]] = {}

    def start(self, workers: int = 2) -> None:
        runs = self.folder / "runs" / run_server.DATABASE
        runs.parent.mkdir()
        run_server._copy_prepared(runs)  # making one takes longer than all else here
        server, scheduler = self.server.removesuffix("/api"), self.scheduler
        self._begin("server", "prefect", "server", "start", "--no-ui", "--host", "127.0.0.1",
                    "--port", server.rpartition(":")[2])  # fmt: skip
        self._begin("scheduler", "distributed.cli.dask_scheduler", "--host", "127.0.0.1",
                    "--port", scheduler.rpartition(":")[2], "--no-dashboard")  # fmt: skip
        self.fill(workers)
        awaited(lambda: _answers(f"{self.server}/health"))
        run_server._keep_prepared(runs)

    def fill(self, count: int = 2) -> None:
        """Have as many workers, or more where there were."""
        alive = [name for name, one in self.workers.items() if one.poll() is None]
        for _ in range(count - len(alive)):
            name = f"worker-{len(self.workers)}"
            self.workers[name] = self._begin(
                name, "distributed.cli.dask_worker", self.scheduler, "--name", name,
                "--host", "127.0.0.1", "--nthreads", "1", "--no-nanny", "--no-dashboard",
                "--local-directory", str(self.folder), "--memory-limit", "0",
                *self._more,
            )  # fmt: skip
        with self.client() as client:
            client.wait_for_workers(count, timeout=PATIENCE_S)

    def client(self) -> distributed.Client:
        import distributed

        return distributed.Client(self.scheduler, set_as_default=False, timeout=PATIENCE_S)

    def kill_one_at_work(self) -> list[str]:
        """Kill a worker while it holds work; the keys of that work.

        It is stopped before the scheduler is asked what it holds, and killed without having
        gone on: what it held then can't have been finished by it.
        """
        with self.client() as client:
            awaited(lambda: any(client.processing().values()))
            while any(client.processing().values()):
                for address, info in client.scheduler_info(n_workers=-1)["workers"].items():
                    process = self.workers[info["name"]]
                    process.send_signal(signal.SIGSTOP)
                    held = [str(key) for key in client.processing().get(address, ())]
                    if held:
                        process.kill()
                        process.wait()
                        return held
                    process.send_signal(signal.SIGCONT)
        raise AssertionError("the work was done before a worker was caught at it")

    @cached_property
    def desk(self) -> Desk:
        """What carries out commands of backbench."""
        desk = Desk(self.environment)
        self.named["desk"] = desk.process
        return desk

    def run(self, *words: object) -> tuple[int, str]:
        """Exit code and all that a command of backbench says."""
        self.desk.begin(*words)
        return self.desk.answer(PATIENCE_S)

    def stop(self) -> None:
        for process in reversed(self.named.values()):
            process.kill()
            process.wait()

    def _begin(self, name: str, module: str, *words: str) -> subprocess.Popen[bytes]:
        with (self.folder / f"{name}.log").open("wb") as log:
            process = subprocess.Popen(
                [sys.executable, "-m", module, *words], env=self.environment, stdout=log, stderr=log
            )
        self.named[name] = process
        return process


def _answers(url: str) -> bool:
    try:
        with urllib.request.urlopen(url, timeout=5) as response:
            return bool(response.status == 200)
    except OSError:
        return False


@contextmanager
def s3_server() -> Iterator[str]:
    """The address of an object store with one bucket, for as long as the block lasts."""
    from moto.server import ThreadedMotoServer

    server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    address = f"http://{host}:{port}"
    urllib.request.urlopen(urllib.request.Request(f"{address}/{BUCKET}", method="PUT")).close()
    try:
        yield address
    finally:
        server.stop()


@contextmanager
def machines(folder: Path, workers: int = 2, preload: Path | None = None) -> Iterator[Machines]:
    """All of them, for as long as the block lasts."""
    with s3_server() as address:
        begun = Machines(folder, address, preload)
        try:
            begun.start(workers)
            yield begun
        finally:
            begun.stop()
