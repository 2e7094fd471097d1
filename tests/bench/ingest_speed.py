"""Ingest against the analysis that it can't do without: python tests/bench/ingest_speed.py

Prints, for the demonstration's captures: the sum of the analyses' own time in one process, the
time of a whole ingest over two processes, of the same ingest again, and of the parts that are
not analysis. Ratios are of times taken in one run.
"""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from backbench.catalogue import Catalogue
from backbench.seed_dataset.maker import write_catalogue_inputs
from backbench.seed_dataset.scenario import settings_text
from backbench.stages import ingest
from backbench.stages.analyse import analyse

PROCESSES = 2


def timed(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def analysis_alone(root: Path, folders: list[Path]) -> tuple[int, float]:
    """Captures, and the seconds of their analyses one after another in this process."""
    catalogue = Catalogue.create(root, settings_text())
    ingest.prepare(catalogue.places)
    works, _ = ingest.planned_work(catalogue.places, folders)
    jobs = [job for work in works for chunk in work.chunks for job in chunk]
    return len(jobs), timed(lambda: [analyse(job) for job in jobs])


def row(what: str, seconds: float, floor: float, target: str) -> None:
    print(f"{what:<52}{seconds:8.2f} s{seconds / floor:8.3f}   {target}")


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        reviews = write_catalogue_inputs(folder, workers=PROCESSES)
        count, alone = analysis_alone(folder / "alone", reviews)
        floor = alone / PROCESSES
        print(f"{count} captures; floor: their analyses, shared by {PROCESSES} processes")
        row("floor", floor, floor, "")
        catalogue = Catalogue.create(folder / "catalogue", settings_text())

        def again() -> None:
            catalogue.ingest(reviews, history=False, processes=PROCESSES)

        first = timed(again)
        row("ingest without the orchestrator", first, floor, "at most 1.25")
        row("the same again, nothing changed (ratio to the first)", timed(again), first, "0.03")
        shutil.rmtree(folder / "catalogue" / "vault")
        one = Catalogue.create(folder / "one", settings_text())
        small = [reviews[3]]
        taken = timed(lambda: one.ingest(small, history=False, processes=PROCESSES))
        print(f"one review without the orchestrator: {taken:.2f} s (target: under 2 s)")
        two = Catalogue.create(folder / "two", settings_text())
        taken = timed(lambda: two.ingest(small, processes=PROCESSES))
        print(f"one review with it, server started for it: {taken:.2f} s (target: under 10 s)")


if __name__ == "__main__":
    main()
