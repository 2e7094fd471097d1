"""What a cluster costs beside one machine: python tests/bench/cluster_speed.py [CAPTURES [FOLDER]]

Real processes on loopback: a scheduler, a run server, workers of one thread each. Counted is the
processor's time of each process, which other programs on the machine change little: what analysis
itself takes, and what sending, recording and loading add to it, over sizes of a chunk and numbers
of workers. A fixed part (starting the command, the server's and the scheduler's share of it) is
told by the same run of one small review. Then a model from these figures of more workers than this
machine has.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from backbench.catalogue import Catalogue
from backbench.seed_dataset.maker import write_catalogue_inputs
from backbench.seed_dataset.scenario import settings_text
from cluster_processes import Machines, machines

CAPTURES = 150
LOCAL = 0
"""In place of a chunk's size: on this machine, without a cluster."""
CODE = (
    "import sys; from backbench.ingest import incremental; from backbench.cli import main; "
    "incremental.CHUNK = int(sys.argv.pop(1)) or incremental.CHUNK; sys.argv[0] = 'backbench'; "
    "main()"
)
DONE, IN_PART = 0, 3
"""Exit codes; the scenario has captures that are refused on purpose."""
TICKS = os.sysconf("SC_CLK_TCK")
MODELLED = (10, 100, 1000)


@dataclass(frozen=True)
class Spent:
    """Seconds of the processor, in the command, in scheduler and run server, and in workers."""

    command: float
    middle: float
    workers: float
    clock: float

    def less(self, other: Spent) -> Spent:
        return Spent(self.command - other.command, self.middle - other.middle,
                     self.workers - other.workers, self.clock - other.clock)  # fmt: skip


def busy(processes: list[subprocess.Popen[bytes]]) -> float:
    """Seconds of the processor that running processes have had."""
    total = 0
    for process in processes:
        stat = Path(f"/proc/{process.pid}/stat").read_text(encoding="utf-8")
        fields = stat.rpartition(")")[2].split()
        total += int(fields[11]) + int(fields[12])
    return total / TICKS


def run(cluster: Machines, folder: Path, reviews: list[Path], chunk: int) -> Spent:
    """One whole `ingest` into a new catalogue."""
    settings = settings_text()
    if chunk != LOCAL:
        store = folder.with_name(f"{folder.name}-originals")
        store.mkdir()
        table = f'\n[workers]\nscheduler = "{cluster.scheduler}"\noriginals = "{store}"\n'
        settings = f'engine = "dask"\n{settings}{table}'
    Catalogue.create(folder, settings)
    workers = [one for one in cluster.workers.values() if one.poll() is None]
    middle = [one for one in cluster.processes if one not in cluster.workers.values()]
    before = busy(middle), busy(workers), time.perf_counter(), sum(os.times()[2:4])
    where = ["--direct", "--processes", "1"] if chunk == LOCAL else []
    words = ["ingest", *map(str, reviews), "-c", str(folder), *where]
    line = [sys.executable, "-c", CODE, str(chunk), *words]
    ended = subprocess.run(line, env=cluster.environment, check=False, capture_output=True)
    assert ended.returncode in (DONE, IN_PART), ended.stderr
    return Spent(
        sum(os.times()[2:4]) - before[3], busy(middle) - before[0], busy(workers) - before[1],
        time.perf_counter() - before[2],
    )  # fmt: skip


def captures_of(review: Path) -> int:
    return len(list(review.glob("*.flac")))


def some(reviews: list[Path], least: int) -> tuple[list[Path], int]:
    """Reviews that hold so many captures together, and how many they hold."""
    taken: list[Path] = []
    held = 0
    for review in reviews:
        if held >= least:
            break
        taken, held = [*taken, review], held + captures_of(review)
    return taken, held


def told(what: str, spent: Spent, captures: int) -> float:
    """A row of the table: milliseconds a capture. Returns their sum but for the clock's."""
    parts = [1e3 * part / captures for part in (spent.command, spent.middle, spent.workers)]
    total = sum(parts)
    clock = 1e3 * spent.clock / captures
    figures = " | ".join(f"{part:.1f}" for part in (*parts, total, clock))
    print(f"| {what} | {figures} |", flush=True)
    return total


def modelled(analysis: float, writer: float, middle: float) -> None:
    """Captures a second: workers until the one writer, or the scheduler, can take no more."""
    print("\n| workers | they could analyse, captures/s | what is loaded, captures/s | limit |")
    print("| --- | --- | --- | --- |")
    for count in MODELLED:
        could = count / analysis
        limits = {"workers": could, "the command that sends and loads": 1 / writer,
                  "scheduler and run server": 1 / middle}  # fmt: skip
        limit = min(limits, key=lambda name: limits[name])
        print(f"| {count} | {could:.0f} | {limits[limit]:.0f} | {limit} |")


def main(many: int, made: Path | None) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        inputs = (
            sorted(made.iterdir()) if made else write_catalogue_inputs(folder / "inputs", workers=2)
        )
        reviews = [review for review in inputs if captures_of(review)]
        taken, captures = some(reviews, many)
        one, few = some(reviews, 1)
        more = captures - few
        print("| run | command | scheduler, server | workers | sum | clock |")
        print("| --- | --- | --- | --- | --- | --- |", flush=True)
        with machines(folder) as cluster:
            cluster.fill(1)
            alone = run(cluster, folder / "local-one", one, LOCAL)
            local = run(cluster, folder / "local", taken, LOCAL).less(alone)
            told("this machine, one process", local, more)
            run(cluster, folder / "warm", one, 16)
            alone = run(cluster, folder / "one", one, 16)
            for chunk, workers in ((1, 1), (4, 1), (16, 1), (16, 2), (16, 4)):
                cluster.fill(workers)
                # Chunks of one: each new worker gets some, and loads the program.
                run(cluster, folder / f"warm-{chunk}-{workers}", one, 1)
                spent = run(cluster, folder / f"{chunk}-{workers}", taken, chunk).less(alone)
                told(f"cluster, workers: {workers}, chunk: {chunk}", spent, more)
                if (chunk, workers) == (16, 1):
                    usual = spent
        modelled(usual.workers / more, usual.command / more, usual.middle / more)


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else CAPTURES,
        Path(sys.argv[2]) if len(sys.argv) > 2 else None,
    )
