"""Ingest against the analysis that it can't do without: python tests/bench/ingest_speed.py

The demonstration's captures: the sum of the analyses' own time in one process, a whole ingest
over two processes, the same again, and one review on its own, with the orchestrator and without.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
# As in the workers' processes: one thread each for linear algebra and for tables.
os.environ.update(OPENBLAS_NUM_THREADS="1", POLARS_MAX_THREADS="1")

from rows import Row, tell, timed

from backbench.catalogue import Catalogue
from backbench.ingest import run_ingest
from backbench.ingest.analyse import analyse, stage_chunk
from backbench.orchestration.run_server import RunServer
from backbench.seed_dataset.maker import write_catalogue_inputs
from backbench.seed_dataset.scenario import settings_text

PROCESSES = 2
USUAL = 25
UNSURE_S = 3.5
"""How long after a change of a file its time of change is not relied on, and a little more."""
"""Captures of the review that is taken in by itself."""
PROGRAM = [sys.executable, "-c", "from backbench.cli import main; main()"]


def parts(root: Path, folders: list[Path]) -> tuple[int, dict[str, float]]:
    """Captures, and the seconds of each part of an ingest, one after another in this process."""
    catalogue = Catalogue.create(root, settings_text())
    places = catalogue.places
    run_ingest.prepare(places)
    works: list[run_ingest.Work] = []
    spent = {"keep": timed(lambda: works.extend(run_ingest.planned_work(places, folders)[0]))}
    jobs = [job for work in works for chunk in work.chunks for job in chunk]
    chunks: dict[str, list[Path]] = {}

    def stage() -> None:
        for work in works:
            folder = places.staged / work.planned.key
            chunks[work.planned.key] = [stage_chunk(chunk, folder) for chunk in work.chunks]

    analyse(jobs[0])
    spent["stage"] = timed(stage)
    spent["analyse"] = timed(lambda: [analyse(job) for job in jobs])

    def load() -> None:
        for group in run_ingest.in_groups(works):
            run_ingest.finish(places, [(work, chunks[work.planned.key]) for work in group])

    spent["load"] = timed(load)
    return len(jobs), spent


def command(review: Path, home: Path, *words: str) -> float:
    """Seconds of a whole `ingest` of one review into a new catalogue."""
    Catalogue.create(home, settings_text())
    line = [*PROGRAM, "ingest", str(review), "-c", str(home), *words]
    return timed(lambda: subprocess.run(line, check=True, stdout=subprocess.DEVNULL))


def one_review(review: Path, folder: Path) -> None:
    os.environ["XDG_CACHE_HOME"] = str(folder / "cache")
    count = len(list(review.glob("*.flac")))
    name = f"one review of {count} captures, whole command"
    tell(Row(f"{name}, `--direct`", command(review, folder / "a", "--direct"), target=1.0))
    tell(Row(f"{name}, first on this machine", command(review, folder / "b")))
    tell(Row(f"{name}, later ones", command(review, folder / "c"), target=4.5))
    server = RunServer(folder / "runs")
    server.wait()
    tell(Row(f"{name}, a server running", command(review, folder / "d"), target=2.0))
    server.stop()


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        reviews = write_catalogue_inputs(folder, workers=PROCESSES)
        count, spent = parts(folder / "alone", reviews)
        floor = spent["analyse"] / PROCESSES
        for part, what in (
            ("keep", "originals kept and planned"),
            ("stage", "analysis with its rows staged"),
            ("load", "rows loaded, metrics across captures"),
        ):
            tell(Row(f"{what}, {count} captures", spent[part], "s", "analysis", spent["analyse"]))
        catalogue = Catalogue.create(folder / "catalogue", settings_text())

        def again() -> None:
            catalogue.ingest(reviews, history=False, processes=PROCESSES)

        first = timed(again)
        tell(Row(f"ingest, {count} captures, {PROCESSES} processes", first, "s",
                 f"analysis / {PROCESSES}", floor, 1.4))  # fmt: skip
        again()
        time.sleep(UNSURE_S)
        again()  # records the files that were too new the first time
        tell(
            Row(
                "the same again, nothing changed, third time and later", timed(again, 3), target=0.3
            )
        )
        usual = min(reviews, key=lambda path: abs(USUAL - len(list(path.glob("*.flac")))))
        one_review(usual, folder / "single")


if __name__ == "__main__":
    main()
