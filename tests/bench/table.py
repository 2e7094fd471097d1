"""All benchmarks of speed as one table: python tests/bench/table.py [PROGRAM …]

Each program runs by itself, one after another, on a machine that does nothing else. About
fifteen minutes; needs the extra `backbench[bench]`.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from rows import HEADINGS

PROGRAMS = (
    "analysis_speed", "start_speed", "ingest_speed", "growth", "large_catalogue", "rivals",
)  # fmt: skip


def main(programs: list[str]) -> int:
    print(f"{os.cpu_count()} processors; load before: {os.getloadavg()[0]:.1f}\n")
    print(f"| {' | '.join(HEADINGS)} |\n| {' | '.join(['---'] * len(HEADINGS))} |", flush=True)
    here = Path(__file__).parent
    failed = [
        name
        for name in programs or PROGRAMS
        if subprocess.run([sys.executable, here / f"{name}.py"], check=False).returncode
    ]
    print(f"\nended badly: {', '.join(failed)}" if failed else "")
    return len(failed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
