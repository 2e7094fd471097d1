"""A progress bar with time left, on a terminal; nothing where output goes elsewhere."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from rich.console import Console
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    TaskID,
    TextColumn,
    TimeRemainingColumn,
)


@dataclass
class ProgressReporter:
    """Shows how many things of a kind are to come and how many are done."""

    bars: Progress
    what: str = "measuring captures"
    task: TaskID | None = None

    def started(self, total: int) -> None:
        """Begin a bar of this many."""
        self.bars.stop_task(self.begin)
        self.bars.update(self.begin, visible=False)
        if total:
            self.task = self.bars.add_task(self.what, total=total)

    def progress(self, number: int) -> None:
        """So many more are done."""
        if self.task is None:
            self.started(number)
        if self.task is not None:
            self.bars.advance(self.task, number)

    def __post_init__(self) -> None:
        self.begin = self.bars.add_task("reading the catalogue", total=None)


@contextmanager
def watched(what: str = "measuring captures") -> Iterator[ProgressReporter]:
    """A bar on standard error while the block runs. what: is done, in words."""
    with bars() as shown:
        yield ProgressReporter(shown, what)


def bars() -> Progress:
    """Bars on standard error, gone when they are done."""
    console = Console(stderr=True)
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(bar_width=30),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        console=console,
        transient=True,
        disable=not sys.stderr.isatty(),
    )
