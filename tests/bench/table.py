"""All benchmarks of speed as one table: python tests/bench/table.py [PROGRAM …]

Each program runs by itself, one after another, on a machine that does nothing else; the test suite
comes last. Needs the extras `backbench[bench]` and `backbench[test]`.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

from rows import HEADINGS

PROGRAMS = (
    "analysis_speed", "start_speed", "ingest_speed", "drawing_speed", "large_catalogue", "rivals",
    "growth", "suite_speed",
)  # fmt: skip


def main(programs: list[str]) -> int:
    print(f"{os.cpu_count()} processors; load before: {os.getloadavg()[0]:.1f}\n")
    print(f"| {' | '.join(HEADINGS)} |\n| {' | '.join(['---'] * len(HEADINGS))} |", flush=True)
    here = Path(__file__).parent
    # Else each process would compile the whole program again.
    as_installed = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    began = time.monotonic()
    failed = []
    for name in programs or PROGRAMS:
        line = [sys.executable, here / f"{name}.py"]
        if subprocess.run(line, env=as_installed, check=False).returncode:
            failed.append(name)
    print(f"\n{(time.monotonic() - began) / 60:.1f} minutes in all")
    if failed:
        print(f"ended badly: {', '.join(failed)}")
    return len(failed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
