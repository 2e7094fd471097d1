"""What more workers than this machine has would give, from what a capture costs each part.

One command plans, sends and loads; one scheduler and one run server stand between it and any number
of workers. Each of these, on a processor of its own, takes at most 1 / (its time a capture): the
least of them is what the catalogue gains. No more is claimed: networks, and what a scheduler's
work grows by with its workers, aren't in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

WORKERS = (1, 2, 4, 10, 100, 1000)


@dataclass(frozen=True)
class Costs:
    """Seconds of the processor a capture. planned and loaded are within command."""

    command: float
    planned: float
    loaded: float
    scheduler: float
    server: float
    worker: float

    def with_analysis(self, more: float) -> Costs:
        """The same where a worker takes so much more a capture."""
        return Costs(self.command, self.planned, self.loaded, self.scheduler, self.server,
                     self.worker + more)  # fmt: skip


@dataclass(frozen=True)
class Rate:
    """Captures a second, and what they are limited by."""

    captures: float
    limit: str


def as_built(costs: Costs, workers: int) -> Rate:
    """The command takes back every chunk, stages and loads it."""
    return _least({
        "the workers": costs.worker / workers, "the one command, which sends and loads":
        costs.command, "the scheduler": costs.scheduler, "the run server": costs.server,
    })  # fmt: skip


def landed(costs: Costs, workers: int) -> Rate:
    """Workers leave their rows as Parquet on the shared storage; the command keeps originals, plans
    and sends, and takes nothing back. What is sent costs what isn't planning, loading or taking
    back, which is left out whole: a bound from above."""
    return _least({
        "the workers": costs.worker / workers, "the one command, which keeps and plans":
        costs.planned, "the scheduler": costs.scheduler, "the run server": costs.server,
    })  # fmt: skip


def _least(seconds: dict[str, float]) -> Rate:
    """By what takes the longest; what is too little to be told from waiting may be 0 or less."""
    name = max(seconds, key=lambda one: seconds[one])
    return Rate(1 / seconds[name], name)


def enough_workers(costs: Costs) -> float:
    """From how many workers on the one command is the limit."""
    return costs.worker / costs.command


def table(costs: Costs, counts: Sequence[int] = WORKERS) -> list[str]:
    """Lines of a table: workers against captures a second, as built and with a landing place."""
    lines = [
        "| workers | they analyse, captures/s | loaded as built, captures/s | limited by | "
        "landed as Parquet, captures/s | limited by |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for count in counts:
        built, apart = as_built(costs, count), landed(costs, count)
        lines.append(
            f"| {count:,} | {count / costs.worker:,.0f} | {built.captures:,.0f} | {built.limit} | "
            f"{apart.captures:,.0f} | {apart.limit} |"
        )
    return lines


def sentences(costs: Costs) -> list[str]:
    """Where the one writer is the limit, and what the loading alone would allow."""
    return [
        f"The one command is the limit from {enough_workers(costs):.1f} workers on: it takes "
        f"{1e3 * costs.command:.1f} ms a capture, {1e3 * costs.loaded:.1f} of them loading, a "
        f"worker {1e3 * costs.worker:.1f}.",
        f"A process that only loads, in the background, takes {1 / costs.loaded:,.0f} captures/s: "
        f"what lands faster waits as Parquet.",
    ]
