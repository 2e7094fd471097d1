"""Linear algebra in one thread: sums are made in one order, on whatever number of processors."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

NAME = "OPENBLAS_NUM_THREADS"


@pytest.mark.parametrize(
    ("first", "given", "result"),
    [("os", None, "1"), ("os", "3", "3"), ("numpy", None, "nothing")],
    ids=["usual", "asked for", "too late"],
)
def test_it_is_said_before_numpy_reads_it(first: str, given: str | None, result: str) -> None:
    """Where numpy was first, nothing is said that would not be in force."""
    code = f"import {first}, backbench, os; print(os.environ.get('{NAME}', 'nothing'))"
    environment = {name: value for name, value in os.environ.items() if name != NAME}
    if given:
        environment[NAME] = given
    ran = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True
    )
    assert ran.stdout.strip() == result
