"""How many false trends are kept when many are screened at once, in 2,000 simulated screenings.

Run: python tests/bench/false_discovery.py
Of 60 quantities over 25 units some truly follow the other quantity. Printed: the mean share of
false ones among those kept at 5 %, which Benjamini and Hochberg's procedure holds below 5 % times
the share of quantities without a trend, given exact p values. Those of Spearman's rho are from
Student's t, which is a little too sure of itself in the tails: the excess that shows here.
"""

from __future__ import annotations

import numpy as np
from scipy import stats

from backbench.compare.trends import false_discovery

SCREENINGS = 2000
QUANTITIES, UNITS, RATE = 60, 25, 0.05


def false_share(true: int, rng: np.random.Generator) -> float:
    """The share of false ones among the trends kept in one screening."""
    x = stats.rankdata(rng.normal(size=UNITS))
    y = rng.normal(size=(QUANTITIES, UNITS))
    y[:true] += 1.5 * (x - x.mean()) / x.std()
    rho = np.asarray([np.corrcoef(x, stats.rankdata(row))[0, 1] for row in y])
    t = rho * np.sqrt((UNITS - 2) / (1 - rho**2))
    kept = np.asarray(false_discovery(2 * stats.t.sf(np.abs(t), UNITS - 2))) <= RATE
    return float(kept[true:].sum() / max(1, kept.sum()))


def main() -> None:
    for true in (0, 15, 45):
        rng = np.random.default_rng(30)
        mean = np.mean([false_share(true, rng) for _ in range(SCREENINGS)])
        bound = RATE * (QUANTITIES - true) / QUANTITIES
        print(f"{true:2} of {QUANTITIES} true: false ones {mean:6.2%} (held below {bound:6.2%})")


if __name__ == "__main__":
    main()
