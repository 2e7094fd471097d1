"""Tests that are run where there is no network but loopback, once, in place of an ordinary run."""

from __future__ import annotations

import os
import shutil
import subprocess
from functools import cache

INSIDE = "BACKBENCH_TEST_ISOLATED"
"""Set for tests that run in a network namespace of their own."""


@cache
def isolation_possible() -> bool:
    """Whether this system lets a process have a network namespace of its own."""
    if shutil.which("unshare") is None or shutil.which("ip") is None:
        return False
    tried = subprocess.run(
        ["unshare", "-rn", "ip", "link", "set", "lo", "up"], capture_output=True, check=False
    )
    return tried.returncode == 0


def run_isolated_elsewhere() -> bool:
    """Whether tests/faults/test_no_network.py runs a test in isolation that is not in it now."""
    return INSIDE not in os.environ and isolation_possible()
