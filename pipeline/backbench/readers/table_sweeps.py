"""Whether a table holds one sweep of its times or frequencies, or another that begins again."""

from __future__ import annotations

import numpy as np

from backbench.signal.track import Array

SWEPT = {
    "trace": "time",
    "response": "frequency",
    "impedance": "frequency",
    "spectrum": "frequency",
}
"""What a kind of table goes through once."""
FALLS, RISES = 0.5, 0.25
"""Share of the whole span that a second sweep falls back by at least, and that a step of it rises
by at most: common practice, no source."""
ROWS_AFTER = 3


def second_sweep(values: Array, logarithmic: bool) -> int | None:
    """The row at which values go back and rise anew; None where they go through once.

    values: of shape (n,), NaN where there is none; falling ones as well as rising. A single row out
    of place is no second sweep.
    """
    usable = np.isfinite(values) & (values > 0 if logarithmic else True)
    rows = np.flatnonzero(usable)
    along = np.log(values[rows]) if logarithmic else values[rows]
    if len(along) < 2 * ROWS_AFTER:
        return None
    steps, span = np.diff(along), float(np.ptp(along))
    steps = steps * (np.sign(np.median(steps)) or 1.0)
    for k in np.flatnonzero(steps < -FALLS * span).tolist():
        after = steps[k + 1 : k + ROWS_AFTER]
        if len(after) == ROWS_AFTER - 1 and ((after > 0) & (after < RISES * span)).all():
            return int(rows[k + 1])
    return None
