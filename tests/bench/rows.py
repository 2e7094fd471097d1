"""One line of the benchmarks' table: what was measured, against what, and whether it will do."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

HEADINGS = ("what", "found", "against", "ratio", "target", "")


@dataclass(frozen=True)
class Row:
    """found and rival are in `unit`, and of one run; a target is the greatest ratio, or the
    greatest figure where there is no rival. None: nothing was asked."""

    what: str
    found: float
    unit: str = "s"
    against: str = ""
    rival: float | None = None
    target: float | None = None

    @property
    def judged(self) -> float:
        return self.found if self.rival is None else self.found / self.rival

    def cells(self) -> tuple[str, ...]:
        against, ratio = "", ""
        if self.rival is not None:
            against = f"{self.against}: {self.rival:.3g} {self.unit}"
            ratio = f"{self.judged:.3g}"
        target = "" if self.target is None else f"{self.target:g}"
        met = "" if self.target is None else ("met" if self.judged <= self.target else "short")
        return self.what, f"{self.found:.3g} {self.unit}", against, ratio, target, met


def tell(row: Row) -> None:
    """Print a row of the table, as Markdown."""
    print(f"| {' | '.join(row.cells())} |", flush=True)


def timed(work: Callable[[], object], repeats: int = 1) -> float:
    """The least seconds of some runs, by the clock."""
    least = float("inf")
    for _ in range(repeats):
        began = time.perf_counter()
        work()
        least = min(least, time.perf_counter() - began)
    return least
