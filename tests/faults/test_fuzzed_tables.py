"""Changed tables and traces never crash the reader or a metric, and give no figure that is none."""

from __future__ import annotations

import warnings
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from faults.fuzzed_tables import TABLES, mutated, read_and_measure, sound_tables


@pytest.mark.parametrize("kind", range(len(TABLES)))
def test_changed_tables_are_read_measured_or_refused_in_words(tmp_path: Path, kind: int) -> None:
    """The long run is `tests/faults/fuzz.py readings` and `tests/bench/fuzzed_tables.py`."""
    sound = sound_tables()[kind]
    rng = np.random.default_rng(kind)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        ended = Counter(
            read_and_measure(mutated(rng, sound), tmp_path / "t.csv") for _ in range(15)
        )
    assert ended["refused"] < 15
