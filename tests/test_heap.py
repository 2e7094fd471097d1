"""What a worker keeps of the memory that it has freed, and in which pages it has it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from backbench.ingest.malloc_tuning import LARGE_PAGES

TRIALS = """
import resource, sys
import numpy as np
from backbench.ingest.malloc_tuning import keep_freed
if sys.argv[1] != "given back":
    keep_freed()
def work():
    arrays = [np.ones(200_000) for _ in range(20)]
    return len(arrays)
start = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
work()
if sys.argv[1] == "first":
    print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - start)
    sys.exit()
before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
for _ in range(10):
    work()
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""


PAGES = Path("/sys/kernel/mm/transparent_hugepage/enabled")


def _faults(how: str, **environment: str) -> int:
    kept = {name: value for name, value in os.environ.items() if name != LARGE_PAGES[0]}
    return int(subprocess.run(
        [sys.executable, "-c", TRIALS, how], capture_output=True, check=True, text=True,
        env=kept | environment,
    ).stdout)  # fmt: skip


@pytest.mark.skipif(sys.platform != "linux", reason="a setting of glibc")
def test_memory_that_was_freed_is_used_again_without_asking_for_it() -> None:
    faults = {how: _faults(how) for how in ("kept", "given back")}
    assert faults["kept"] < 200
    assert faults["kept"] < faults["given back"] / 10


@pytest.mark.skipif(
    not PAGES.exists() or "[never]" in PAGES.read_text(), reason="a setting of the system"
)
def test_memory_of_a_worker_comes_in_large_pages() -> None:
    name, value = LARGE_PAGES
    assert _faults("first", **{name: value}) < _faults("first") / 4
