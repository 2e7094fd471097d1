"""Disks that are full, fail or forbid writing, from some point of a command on.

Run: python tests/faults/disk_run.py [EVERY [KILLS]]. Each EVERY-th fault point is tried; a
file-size limit makes the database's own writes fail too: each of LIMITS, or one of them for each
command where EVERY is more than SPARSE. Before that, commands on the same catalogue are killed
KILLS times, as long_run.py does it. Prints one line, and one of the kills; ends with 1 where a
command ended in anything but words, where the catalogue is damaged, or where the next run doesn't
carry on.
"""

from __future__ import annotations

import os
import resource
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("POLARS_MAX_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1]))

from faults.forks import Told, in_fork
from faults.kill_runner import Runner

ERRORS = ("ENOSPC", "EIO", "EACCES", "EROFS")
COMMANDS = ("ingest", "recompute", "rebuild", "backup", "restore", "publish")
LIMITS = (1_000, 100_000, 1_000_000, 3_000_000)
SPARSE = 50
SEED = 7


def limited(work: Callable[[Told], None], limit: int) -> Callable[[Told], None]:
    """The same where no file may grow beyond so many bytes."""

    def within(tell: Told) -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
        work(tell)

    return within


def tried(runner: Runner, command: str, fault: str, limit: int | None) -> str:
    """One run; how it ended: "done", "refused", or what is wrong."""
    work = getattr(runner, f"_{command}")()
    status, messages = in_fork(limited(work, limit) if limit else work, fault)
    runner.figures.runs += 1
    runner._take(command, messages)
    runner._check(command, f"with {fault or limit}")
    last: dict[str, Any] = messages[-1] if messages else {}
    if status != 0 or not ({"refused", "names"} & last.keys()):
        return f"{command} with {fault or limit}: {status} {messages}"
    return "refused" if "refused" in last else "done"


def main() -> int:
    every = int(sys.argv[1]) if len(sys.argv) > 1 else 7
    kills = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    ended: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        runner = Runner(Path(folder), SEED)
        if kills:
            print(runner.run(kills))
        else:
            runner.begin()
        for turn, command in enumerate(COMMANDS):
            if command not in runner.points:
                _, messages = in_fork(getattr(runner, f"_{command}")())
                runner._take(command, messages)
            total = runner.points[command].total()
            first = 1 + turn * total // len(COMMANDS) % min(every, total)
            for point in range(first, total, every):
                fault = f"*:{point}+:{ERRORS[len(ended) % len(ERRORS)]}"
                ended.append(tried(runner, command, fault, None))
            for limit in LIMITS[turn % 4 :: 4] if every > SPARSE else LIMITS:
                ended.append(tried(runner, command, "", limit))
        runner.whole()
    wrong = [end for end in ended if end not in {"done", "refused"}]
    wrong += runner.figures.lost + runner.figures.half_done
    for line in wrong:
        print(line)
    counts = f"{ended.count('refused')} refused in words, {ended.count('done')} done all the same"
    print(f"{len(ended)} runs on failing disks: {counts}, {len(wrong)} wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
