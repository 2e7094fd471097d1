"""How often a rank correlation as strong as the one found would come about by chance.

Two-sided p of Spearman's rho under all orders of one of the two. Up to nine units every order is
gone through: exact, ties included. Above that rho squared is taken to be beta distributed with
the mean and variance that it has over all orders (both known exactly from the ranks, ties
included: Pitman 1937, Biometrika 29; from memory), less half a step of rho for its being discrete.
Student's t, which is often used instead, is too sure of itself far out.
"""

from __future__ import annotations

from functools import cache
from itertools import permutations
from typing import Any

import numpy as np
import numpy.typing as npt

from backbench.statistics.rank_statistics import fourth_over_second, mid_ranks

Floats = npt.NDArray[np.float64]
EXACT_UP_TO = 9


def permutation_p_value(x: Any, y: Any) -> float:
    """The p of Spearman's rho of x and y: 1-D, of one length of at least four, neither constant."""
    a, b = (_standard(mid_ranks(values)) for values in (x, y))
    rho = abs(float(a @ b))
    if a.size <= EXACT_UP_TO:
        every = np.abs(b[_orders(a.size)] @ a)
        return float(np.mean(every >= rho - 1e-12))
    return _fitted(rho, a, b)


def rank_correlation(x: Any, y: Any) -> float:
    """Spearman's rho of x and y: 1-D, of one length, neither constant."""
    return float(_standard(mid_ranks(x)) @ _standard(mid_ranks(y)))


def _standard(ranks: Floats) -> Floats:
    """Ranks less their mean, of length one."""
    centred = ranks - ranks.mean()
    return np.asarray(centred / np.linalg.norm(centred), float)


@cache
def _orders(n: int) -> npt.NDArray[np.int8]:
    return np.asarray(list(permutations(range(n))), np.int8)


def _fitted(rho: float, a: Floats, b: Floats) -> float:
    from scipy.special import betaincc

    mean, second = moments(a, b)
    size = mean * (1 - mean) / (second - mean**2) - 1
    n = a.size
    nearer = max(rho - 6 / (n * (n * n - 1)), 0.0)
    return float(betaincc(mean * size, (1 - mean) * size, min(nearer**2, 1.0)))


def moments(a: Floats, b: Floats) -> tuple[float, float]:
    """Mean of the squared and of the fourth power of the correlation over all orders of b."""
    n = a.size
    tails = fourth_over_second(a) * fourth_over_second(b)
    fourth = 3 / (n * n - 1) * (1 + (n - 2) * (n - 3) / (3 * n * (n - 1) ** 2) * tails)
    return 1 / (n - 1), float(fourth)
