"""What a cluster costs beside one machine: python tests/bench/cluster_speed.py [CAPTURES [FOLDER]]

Real processes on loopback: a scheduler, a run server, workers of one thread each. Counted is the
processor's time of each process, which other programs on the machine change little, over sizes of
a chunk and numbers of workers; of it the shares of transfer, hashing, analysis and loading, as the
processes themselves tell (`cluster_meter.py`). A fixed part (starting the command, the server's and
the scheduler's share of it) is told by the same run of one small review and taken off. Then a model
from these figures of more workers than this machine has (`cluster_model.py`).

FOLDER: review folders to take, in place of new ones of the scenario.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

# Else each process would compile the whole program again.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.path.insert(0, str(Path(__file__).parents[1]))

import cluster_meter as meter
from cluster_model import Costs, sentences, table

from backbench.catalogue import Catalogue
from backbench.seed_dataset.maker import write_catalogue_inputs
from backbench.seed_dataset.scenario import settings_text
from cluster_processes import Machines, machines

HERE = Path(__file__).parent
CAPTURES = 150
CHUNKS, WORKERS = (1, 4, 16), (1, 2, 4)
USUAL = 16
"""The size of a chunk as shipped."""
LOCAL = 0
"""In place of a chunk's size: on this machine, without a cluster."""
CODE = (
    "import sys; size = int(sys.argv.pop(1)); import cluster_meter; "
    "cluster_meter.of_the_command(on_cluster=size > 0); "
    "from backbench.ingest import incremental; from backbench.cli import main; "
    "incremental.CHUNK = size or incremental.CHUNK; sys.argv[0] = 'backbench'; main()"
)
DONE, IN_PART = 0, 3
"""Exit codes; the scenario has captures that are refused on purpose."""
TICKS = os.sysconf("SC_CLK_TCK")
LONG_MS_OF = "tone"
"""The stimulus of the longer captures that the model is told for too."""


AGAIN = 2
"""Runs of the one review, of which the lesser is taken for the fixed part."""


@dataclass(frozen=True)
class Spent:
    """Seconds of the processor of each process, those of workers together, and by part."""

    command: float
    scheduler: float
    server: float
    workers: float
    clock: float
    parts: Mapping[str, float]

    def a_capture(self, fixed: Spent, captures: int) -> Spent:
        """Less a run's fixed part, by capture."""
        one, other = vars(self), vars(fixed)
        figures = {k: (v - other[k]) / captures for k, v in one.items() if k != "parts"}
        names = self.parts.keys() | fixed.parts.keys()
        parts = {n: (self.parts.get(n, 0) - fixed.parts.get(n, 0)) / captures for n in names}
        return Spent(**figures, parts=parts)


def busy(processes: Sequence[subprocess.Popen[bytes]]) -> float:
    """Seconds of the processor that running processes have had."""
    total = 0
    for process in processes:
        stat = Path(f"/proc/{process.pid}/stat").read_text(encoding="utf-8")
        fields = stat.rpartition(")")[2].split()
        total += int(fields[11]) + int(fields[12])
    return total / TICKS


def settings_of(cluster: Machines, folder: Path, chunk: int) -> str:
    if chunk == LOCAL:
        return settings_text()
    store = folder.with_name(f"{folder.name}-originals")
    store.mkdir()
    table = f'\n[workers]\nscheduler = "{cluster.scheduler}"\noriginals = "{store}"\n'
    return f'engine = "dask"\n{settings_text()}{table}'


def run(cluster: Machines, folder: Path, reviews: list[Path], chunk: int) -> Spent:
    """One whole `ingest` into a new catalogue."""
    Catalogue.create(folder, settings_of(cluster, folder, chunk))
    told = Path(cluster.environment[meter.FOLDER])
    meter.read_parts(told)
    groups = [[cluster.named["scheduler"]], [cluster.named["server"]],
              [one for one in cluster.workers.values() if one.poll() is None]]  # fmt: skip
    before, began, own = [busy(group) for group in groups], time.perf_counter(), os.times()
    where = ["--direct", "--processes", "1"] if chunk == LOCAL else []
    words = ["ingest", *map(str, reviews), "-c", str(folder), *where]
    line = [sys.executable, "-c", CODE, str(chunk), *words]
    ended = subprocess.run(line, env=cluster.environment, check=False, capture_output=True)
    assert ended.returncode in (DONE, IN_PART), ended.stderr.decode()
    clock, now = time.perf_counter() - began, os.times()
    after = [busy(group) - earlier for group, earlier in zip(groups, before, strict=True)]
    return Spent(sum(now[2:4]) - sum(own[2:4]), *after, clock, meter.read_parts(told))


def fixed_part(cluster: Machines, folder: Path, one: list[Path], chunk: int) -> Spent:
    """Of a run of one small review, the least of each process."""
    runs = [run(cluster, folder / f"one-{chunk}-{n}", one, chunk) for n in range(AGAIN)]
    least = {k: min(vars(spent)[k] for spent in runs) for k in vars(runs[0]) if k != "parts"}
    return Spent(**least, parts=runs[-1].parts)


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


def line(what: str, figures: Sequence[float]) -> str:
    """A row of a table: milliseconds."""
    return f"| {what} | {' | '.join(f'{1e3 * figure:.1f}' for figure in figures)} |"


HEADS = ("command", "scheduler", "run server", "workers", "sum", "clock")
OF_WORKERS = (meter.FETCHED, meter.HASHED, meter.ANALYSED, meter.PACKED)
OF_COMMAND = (
    meter.PLANNED, meter.COPIED, meter.SENT, meter.RECEIVED, meter.STAGED, meter.LOADED,
)  # fmt: skip


def heading(*heads: str) -> None:
    print(f"\n| run | {' | '.join(heads)} |\n| {' | '.join(['---'] * (len(heads) + 1))} |")


def figures(one: Spent) -> list[float]:
    parts = [one.command, one.scheduler, one.server, one.workers]
    return [*parts, sum(parts), one.clock]


def shares(one: Spent) -> list[float]:
    """Milliseconds by part; the last is what none of them is: sending, recording, waiting."""
    parts = [one.parts.get(name, 0.0) for name in (*OF_WORKERS, *OF_COMMAND)]
    return [*parts, one.command + one.workers - sum(parts)]


def costs(one: Spent) -> Costs:
    parts = one.parts
    planned = parts[meter.PLANNED] + parts[meter.COPIED] + parts[meter.SENT]
    return Costs(one.command, planned, parts[meter.LOADED], one.scheduler, one.server, one.workers)


def long_analysis() -> float:
    """Seconds that a capture of 1 s, two tracks at 192 kHz takes to analyse."""
    import numpy as np
    import soundfile
    from analysis_speed import FULL_SCALE, RATE, analysis, cases, least

    stimulus, volts = cases()[LONG_MS_OF]
    rng = np.random.default_rng(1)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.wav"
        noisy = [volts + rng.normal(0, 1e-5, len(volts)) for _ in range(2)]
        soundfile.write(path, np.stack(noisy, axis=1) / FULL_SCALE, RATE, subtype="PCM_24")
        (whole,) = least(8, lambda: analysis(path, stimulus))
    return whole


def told_model(usual: Spent) -> None:
    now = costs(usual)
    if min(now.command, now.planned, now.loaded, now.worker) <= 0:
        print("\nToo few captures on so busy a machine: no model of more workers.")
        return
    print("\n".join(["", *sentences(now), "", "Captures as they are in the demonstration:", ""]))
    print("\n".join(table(now)))
    longer = now.with_analysis(long_analysis() - usual.parts[meter.ANALYSED])
    print("\nCaptures of 1 s, two tracks at 192 kHz, by their analysis alone:\n")
    print("\n".join([*table(longer), "", sentences(longer)[0]]), flush=True)


def measured(cluster: Machines, folder: Path, reviews: list[Path], many: int) -> Spent:
    """Runs over chunks and workers; that of the usual chunk and one worker."""
    taken, captures = some(reviews, many)
    one, few = some(reviews, 1)
    size = sum(file.stat().st_size for review in taken for file in review.glob("*.flac"))
    print(f"{captures} captures of {size / captures / 1e3:.0f} kB on the average; ms a capture")
    runs: dict[str, Spent] = {}

    def told(name: str, spent: Spent, fixed: Spent) -> Spent:
        runs[name] = spent.a_capture(fixed, captures - few)
        print(line(name, figures(runs[name])), flush=True)
        return runs[name]

    heading(*HEADS)
    alone = fixed_part(cluster, folder, one, LOCAL)
    told("this machine, one process", run(cluster, folder / "local", taken, LOCAL), alone)
    run(cluster, folder / "warm", one, 1)
    alone = fixed_part(cluster, folder, one, USUAL)
    for workers in WORKERS:
        cluster.fill(workers)
        # Chunks of one: each new worker gets some, and loads the program.
        run(cluster, folder / f"warm-{workers}", one, 1)
        for chunk in CHUNKS:
            name = f"workers: {workers}, chunk: {chunk}"
            spent = told(name, run(cluster, folder / f"{chunk}-{workers}", taken, chunk), alone)
            if (chunk, workers) == (USUAL, 1):
                usual = spent
    heading(*(f"workers: {part}" for part in OF_WORKERS), *OF_COMMAND, "all else")
    for name, spent in runs.items():
        print(line(name, shares(spent)), flush=True)
    return usual


def main(many: int, made: Path | None) -> None:
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        inputs = (
            sorted(made.iterdir()) if made else write_catalogue_inputs(folder / "inputs", workers=2)
        )
        reviews = [review for review in inputs if captures_of(review)]
        (folder / "meter").mkdir()
        os.environ[meter.FOLDER] = str(folder / "meter")
        os.environ["PYTHONPATH"] = os.pathsep.join(
            filter(None, (str(HERE), os.environ.get("PYTHONPATH")))
        )
        with machines(folder, workers=1, preload=HERE / "cluster_meter.py") as cluster:
            told_model(measured(cluster, folder, reviews, many))
    print(f"\n{(time.monotonic() - began) / 60:.1f} minutes in all")


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else CAPTURES,
        Path(sys.argv[2]) if len(sys.argv) > 2 else None,
    )
