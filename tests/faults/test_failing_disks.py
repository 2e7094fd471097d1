"""A dozen kills of each command at seeded points, then full, failing and read-only disks at a few;
tests/faults/long_run.py and tests/faults/disk_run.py do thousands and hundreds."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

RUN = Path(__file__).with_name("disk_run.py")
KILLS = 12


def test_kills_and_failing_disks_lose_nothing_and_leave_nothing_half_done() -> None:
    """In words where a disk fails."""
    # In a process of its own: a fork of one that has run threads may not go on.
    kept = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "POLARS_MAX_THREADS": "1"}
    ran = subprocess.run(
        [sys.executable, RUN, "180", str(KILLS)],
        capture_output=True,
        text=True,
        check=False,
        env=kept,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    of_kills, of_disks = ran.stdout.splitlines()[-2:]
    assert of_kills.startswith(f"{KILLS} kills"), ran.stdout
    assert ", 0 lost, 0 half done" in of_kills, ran.stdout
    assert ", 0 wrong" in of_disks, ran.stdout
