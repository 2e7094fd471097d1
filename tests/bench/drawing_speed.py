"""Demonstration, site, stills, as whole commands: python tests/bench/drawing_speed.py [UNITS MANY]

The demonstration; the site of its first units (62), the same after one more review, the stills of
a review; the site of many (500), the demonstration's reviews under further keys and names.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

from many_reviews import HeldReview, held, until_units, without_end
from rows import Row, tell, timed

from backbench.catalogue import Catalogue
from backbench.seed_dataset.maker import write_catalogue_inputs
from backbench.seed_dataset.scenario import settings_text

PROCESSES = 2
UNITS, MANY_UNITS = 62, 500
PROGRAM = [sys.executable, "-c", "from backbench.cli import main; main()"]
DONE, IN_PART = 0, 3
"""Exit codes; the scenario has captures that are refused on purpose."""
STILL_S = 0.25
"""What one still may take: ten take 2.5 s."""


def ran(*words: str) -> None:
    ended = subprocess.run([*PROGRAM, *words], check=False, stdout=subprocess.DEVNULL)
    assert ended.returncode in (DONE, IN_PART), words


def demonstration(folder: Path) -> tuple[float, float]:
    """Seconds of the whole command, and of its drawing, told from when its lines are printed."""
    began = at = time.perf_counter()
    drawing = float("nan")
    with subprocess.Popen(
        [*PROGRAM, "demo", str(folder)], stdout=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    ) as running:  # fmt: skip
        assert running.stdout is not None
        for line in running.stdout:
            if line.startswith("Drew "):
                drawing = time.perf_counter() - at
            if line.strip():
                at = time.perf_counter()
    assert running.returncode == DONE
    return time.perf_counter() - began, drawing


def taken_in(home: Path, folders: list[Path]) -> None:
    catalogue = Catalogue.create(home, settings_text())
    outcomes, _ = catalogue.ingest(folders, history=False, processes=PROCESSES)
    assert len(outcomes) == len(folders)


def first_units(reviews: list[Path], most: int) -> tuple[list[Path], int, Path]:
    """Reviews in order of date until they hold so many units, how many, and the next review."""
    each = map(held, reviews)
    taken, count = until_units(each, most)
    return taken, count, next(each).folder


def richest(reviews: list[Path]) -> str:
    """Key of the review with the most captures among the newest ones of units alone.

    reviews: in order of date, since pictures show the newest readings of a unit.
    """
    newest: dict[str, HeldReview] = {}
    for one in map(held, reviews):
        if len(one.units) == 1:
            newest[next(iter(one.units))] = one
    return max(newest.values(), key=lambda one: one.captures).folder.name


def small_site(folder: Path, reviews: list[Path], least: int) -> None:
    taken, units, further = first_units(reviews, least)
    home = folder / "catalogue"
    taken_in(home, taken)
    where = ("-c", str(home))
    tell(Row(f"site of {units} units, whole command", timed(lambda: ran("publish", *where)),
             target=15.0))  # fmt: skip
    Catalogue(home).ingest([further], history=False, processes=PROCESSES)
    tell(Row("the same after one more review", timed(lambda: ran("publish", *where)), target=5.0))
    stills = folder / "stills"
    line = ("publish", *where, "--stills", richest([*taken, further]), "--out", str(stills))
    spent = timed(lambda: ran(*line))
    drawn = len(list(stills.glob("*.png")))
    tell(Row(f"{drawn} stills, whole command", spent, target=STILL_S * drawn))


def large_site(folder: Path, reviews: list[Path], least: int) -> None:
    (folder / "many").mkdir()
    taken, units = until_units(without_end(reviews, folder / "many"), least)
    taken_in(folder / "large", taken)
    line = ("publish", "-c", str(folder / "large"))
    tell(Row(f"site of {units} units and {len(taken)} reviews, whole command",
             timed(lambda: ran(*line)), target=60.0))  # fmt: skip


def main(units: int, many: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        whole, drawing = demonstration(folder / "demonstration")
        tell(Row("demonstration, whole command", whole, target=30.0))
        tell(Row("drawing of its charts", drawing, target=10.0))
        reviews = write_catalogue_inputs(folder / "inputs", workers=PROCESSES)
        small_site(folder, reviews, units)
        large_site(folder, reviews, many)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3] or (UNITS, MANY_UNITS)))
