"""How many false trends are kept when many are screened at once, in 2,000 simulated screenings.

Run: python tests/bench/false_discovery.py
Of 60 quantities over 25 units some truly follow the other quantity. Printed: the mean share of
false ones among those kept at 5 % with the standard error of that mean. Benjamini and Hochberg's
procedure holds it below 5 % times the share of quantities without a trend, given exact p values.
"""

from __future__ import annotations

import numpy as np
from scipy import stats

from backbench.statistics.permutation_test import permutation_p_value
from backbench.statistics.trends import false_discovery

SCREENINGS = 2000
QUANTITIES, UNITS, RATE = 60, 25, 0.05


def false_share(true: int, rng: np.random.Generator) -> float:
    """The share of false ones among the trends kept in one screening."""
    x = stats.rankdata(rng.normal(size=UNITS))
    y = rng.normal(size=(QUANTITIES, UNITS))
    y[:true] += 1.5 * (x - x.mean()) / x.std()
    p = [permutation_p_value(x, row) for row in y]
    kept = np.asarray(false_discovery(p)) <= RATE
    return float(kept[true:].sum() / max(1, kept.sum()))


def main() -> None:
    for true in (0, 15, 45):
        rng = np.random.default_rng(30)
        shares = [false_share(true, rng) for _ in range(SCREENINGS)]
        mean, error = np.mean(shares), np.std(shares) / SCREENINGS**0.5
        bound = RATE * (QUANTITIES - true) / QUANTITIES
        print(
            f"{true:2} of {QUANTITIES} true: false ones {mean:6.2%}, standard error {error:5.2%} "
            f"(held below {bound:6.2%})"
        )


if __name__ == "__main__":
    main()
