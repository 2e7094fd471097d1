"""Whether a table holds one sweep of its times or frequencies, or another that begins again."""

from __future__ import annotations

import numpy as np

from backbench.signal.track import Array

FALLS, RISES = 0.5, 0.25
"""Share of the whole span that a second sweep falls back by at least, and that a step of it rises
by at most: common practice, no source."""
ROWS = 3
"""Of a sweep that count as one, on either side of the fall."""


def second_sweep(values: Array, logarithmic: bool) -> int | None:
    """The row at which values go back and rise anew; None where they go through once.

    values: of shape (n,), NaN where there is none; falling ones as well as rising. A few rows out
    of place are no second sweep, nor is a reference that was taken before the sweep.
    """
    usable = np.isfinite(values) & (values > 0 if logarithmic else True)
    rows = np.flatnonzero(usable)
    along = np.log(values[rows]) if logarithmic else values[rows]
    if len(along) < 2 * ROWS:
        return None
    steps, span = np.diff(along), float(np.ptp(along))
    steps = steps * (np.sign(np.median(steps)) or 1.0)
    for k in np.flatnonzero(steps < -FALLS * span).tolist():
        before, after = steps[max(k - ROWS + 1, 0) : k], steps[k + 1 : k + ROWS]
        if _goes_on(before, span) and _goes_on(after, span):
            return int(rows[k + 1])
    return None


def _goes_on(steps: Array, span: float) -> bool:
    return len(steps) == ROWS - 1 and bool(((steps > 0) & (steps < RISES * span)).all())
