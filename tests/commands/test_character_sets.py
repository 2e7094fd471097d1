"""Output to a terminal whose character set is not UTF-8."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp437", "utf-8"])
def test_signs_that_a_terminal_lacks_are_shown_as_question_marks(encoding: str) -> None:
    ran = subprocess.run(
        [sys.executable, "-c", "from backbench.cli import main; main()", "metrics"],
        capture_output=True, check=False, env={**os.environ, "PYTHONIOENCODING": encoding},
    )  # fmt: skip
    assert (ran.returncode, ran.stderr) == (0, b"")
    shown = ran.stdout.decode(encoding)
    assert "Residual noise" in shown
    assert ("√" in shown) == (encoding in {"utf-8", "cp437"})
