"""Malformed files: a right reading or a fault in one line; no traceback, no hang, no 1 GiB."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

RUN = Path(__file__).with_name("run_corpus.py")
MANY = "20000"
"""Entries of the longest manifests; by hand there are five times as many."""


def test_every_malformed_file_is_read_or_refused_in_words() -> None:
    ran = subprocess.run([sys.executable, RUN, MANY], capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    figures = re.search(r"(\d+) files: (\d+) refused in words, (\d+) read, 0 wrong", ran.stdout)
    assert figures, ran.stdout
    assert int(figures[1]) >= 560
    assert int(figures[2]) >= 330
