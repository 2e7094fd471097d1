"""At least a thousand kills. Run: python tests/faults/long_run.py [KILLS [SEED]]

Prints kills, reviews acknowledged, lost and half done; ends with 1 where any was.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("POLARS_MAX_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1]))

from faults.kill_runner import Runner


def main() -> int:
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        runner = Runner(Path(folder), seed)
        figures = runner.run(kills, lambda line: print(line, flush=True))
    for wrong in [*figures.lost, *figures.half_done]:
        print(wrong)
    print(f"seed {seed}: {figures}; {dict(figures.points)}; {time.monotonic() - began:.0f} s")
    return 1 if figures.lost or figures.half_done else 0


if __name__ == "__main__":
    sys.exit(main())
