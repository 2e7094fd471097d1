"""How long the test suite takes: python tests/bench/suite_speed.py"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from rows import Row, tell, timed

ROOT = Path(__file__).parents[2]
TARGET_S = 360.0


def suite() -> int:
    """The whole suite, with as many workers as it takes by itself; its exit code."""
    line = [sys.executable, "-m", "pytest", str(ROOT)]
    ended = subprocess.run(line, cwd=ROOT, check=False, capture_output=True, text=True)
    print(ended.stdout[-2000:], file=sys.stderr)
    return ended.returncode


if __name__ == "__main__":
    codes: list[int] = []
    tell(Row("test suite", timed(lambda: codes.append(suite())), target=TARGET_S))
    sys.exit(codes[0])
