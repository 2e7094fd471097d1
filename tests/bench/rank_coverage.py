"""How often rank intervals cover the true ranks, in 2,000 simulated tables.

Run: python tests/bench/rank_coverage.py
Printed for several spreads of the truth: the share of tables in which every interval holds its
unit's true rank (simultaneous intervals), the share for the middle unit alone (its own interval),
and the mean width of each. The stated rate is 95 %. Where true values are equal, any rank that
the tie allows has to be held.
"""

from __future__ import annotations

import numpy as np

from backbench.statistics.ranks import of_one, oriented, simultaneous

TABLES = 2000
UNITS = 20
SPREADS = {"all equal": 0.0, "one uncertainty": 1.0, "five uncertainties": 5.0}


def covered(truth: np.ndarray, rng: np.random.Generator) -> tuple[bool, bool, float, float]:
    """Whether all, and one unit's, true ranks are held; mean width of all, width of the one."""
    u = rng.uniform(0.3, 1.5, truth.size)
    values = oriented(rng.normal(truth, u), u, "lower")
    first = 1 + (truth[:, None] < truth[None, :]).T.sum(axis=1)
    last = truth.size - (truth[:, None] > truth[None, :]).T.sum(axis=1)
    together = simultaneous(values)
    middle = truth.size // 2
    low, high = of_one(values, middle)
    return (
        bool(np.all((together[:, 0] <= first) & (together[:, 1] >= last))),
        bool(low <= first[middle] and high >= last[middle]),
        float(np.mean(together[:, 1] - together[:, 0])),
        float(high - low),
    )


def main() -> None:
    for name, spread in SPREADS.items():
        rng = np.random.default_rng(20)
        rows = [covered(np.sort(rng.normal(0, spread, UNITS)), rng) for _ in range(TABLES)]
        all_units, one, wide, narrow = np.mean(np.asarray(rows, float), axis=0)
        print(
            f"{name:18}  all {UNITS} units {all_units:6.1%} (mean width {wide:4.1f})   "
            f"one unit {one:6.1%} (width {narrow:4.1f})"
        )


if __name__ == "__main__":
    main()
