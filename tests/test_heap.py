"""What a worker keeps of the memory that it has freed."""

from __future__ import annotations

import subprocess
import sys

import pytest

TRIALS = """
import resource, sys
import numpy as np
from backbench.ingest.malloc_tuning import keep_freed
if sys.argv[1] == "kept":
    keep_freed()
def work():
    arrays = [np.ones(200_000) for _ in range(20)]
    return len(arrays)
work()
before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
for _ in range(10):
    work()
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="a setting of glibc")
def test_memory_that_was_freed_is_used_again_without_asking_for_it() -> None:
    faults = {
        how: int(subprocess.run(
            [sys.executable, "-c", TRIALS, how], capture_output=True, check=True, text=True
        ).stdout)
        for how in ("kept", "given back")
    }  # fmt: skip
    assert faults["kept"] < 200
    assert faults["kept"] < faults["given back"] / 10
