"""The quick look for long runs of equal samples misses none that a gap could be."""

from __future__ import annotations

import numpy as np
import pytest

from backbench.signal.record_checks import HARDLY_EVER, _may_be_long


@pytest.mark.parametrize("share", [0.0, 0.02, 0.2, 0.5])
@pytest.mark.parametrize("run", [1, 2, 5, 9, 40])
def test_a_run_that_noise_never_gives_is_seen(share: float, run: int) -> None:
    rng = np.random.default_rng([int(100 * share), run])
    alike = rng.random(20_000) < share
    alike[5000 : 5000 + run] = True
    alike[[4999, 5000 + run]] = False
    left = max(int(np.count_nonzero(alike)) - run, 1) / len(alike)
    if run >= 2 and len(alike) * left**run <= HARDLY_EVER:
        assert _may_be_long(alike)


def test_a_record_without_runs_needs_no_closer_look() -> None:
    alike = np.zeros(20_000, dtype=bool)
    alike[::100] = True
    assert not _may_be_long(alike)
    alike[1:8] = True
    assert _may_be_long(alike)
