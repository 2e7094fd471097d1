"""A few kills of whole command lines; tests/faults/kill_commands.py does hundreds."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

RUN = Path(__file__).with_name("kill_commands.py")
COMMANDS = "ingest,withdraw,rename,calibrate --save,check --accept,backfill"


def test_command_lines_that_are_killed_lose_nothing() -> None:
    # In a process of its own: a fork of one that has run threads may not go on.
    ran = subprocess.run(
        [sys.executable, RUN, "6", "3", COMMANDS], capture_output=True, text=True, check=False
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert ", 0 wrong" in ran.stdout.splitlines()[-1]
