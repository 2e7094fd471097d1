"""A dozen kills at seeded points, of each command; tests/faults/long_run.py does thousands."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

RUN = Path(__file__).with_name("long_run.py")
KILLS = 12


def test_nothing_is_lost_and_nothing_half_done() -> None:
    # In a process of its own: a fork of one that has run threads may not go on.
    kept = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "POLARS_MAX_THREADS": "1"}
    ran = subprocess.run(
        [sys.executable, RUN, str(KILLS), "7"],
        capture_output=True,
        text=True,
        check=False,
        env=kept,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert f"{KILLS} kills" in ran.stdout.splitlines()[-1], ran.stdout
