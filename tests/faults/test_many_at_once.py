"""Eight processes on one catalogue for a short while; tests/faults/many_at_once.py takes longer."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

RUN = Path(__file__).with_name("many_at_once.py")


def test_eight_processes_lose_nothing_and_end_in_words() -> None:
    ran = subprocess.run([sys.executable, RUN, "3"], capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert "0 lost, 0 wrong" in ran.stdout
