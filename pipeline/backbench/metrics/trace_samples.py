"""The samples of an oscilloscope's trace, by rising time."""

from __future__ import annotations

import numpy as np

from backbench.errors import Refusal
from backbench.metrics.declaration import CaptureData
from backbench.signal.track import Array


def trace_of(capture_data: CaptureData, key: str) -> tuple[Array, Array]:
    """Instants in s and a column in V. Raises Refusal where the instants don't rise."""
    table = capture_data.table
    assert table is not None
    order = np.argsort(table["time"], kind="stable")
    time, volts = table["time"][order], table[key][order]
    if len(time) < 2 or (np.diff(time) <= 0).any():
        raise Refusal(
            "an instant stands twice, or there is only one: where the times are written with too "
            "few digits, declare time with start and increment"
        )
    return time, volts
