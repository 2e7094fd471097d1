"""Full, failing and read-only disks, at a few points; tests/faults/disk_run.py tries more."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

RUN = Path(__file__).with_name("disk_run.py")


def test_a_failing_disk_is_reported_in_words_and_costs_nothing() -> None:
    kept = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "POLARS_MAX_THREADS": "1"}
    ran = subprocess.run(
        [sys.executable, RUN, "180"], capture_output=True, text=True, check=False, env=kept
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert "0 wrong" in ran.stdout
