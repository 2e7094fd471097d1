"""The uncertainty of the values of a table."""

from __future__ import annotations

import numpy as np

from backbench.metrics.declaration import CaptureData
from backbench.signal.response import resolution
from backbench.signal.track import Array


def column_u(capture_data: CaptureData, key: str) -> Array:
    """Standard uncertainty of a column, shape (n,), in its unit.

    As the reader found it; for a table that no reader made, that of the last decimal.
    """
    assert capture_data.table is not None
    if key in capture_data.table_uncertainty:
        return capture_data.table_uncertainty[key]
    values = capture_data.table[key]
    return np.full(len(values), resolution(values))
