"""Ranks as intervals, from pairwise differences held against their uncertainty.

Method: a unit is ranked below another only where a one-sided test of their difference says so
at a family-wise error rate, by Holm's step-down procedure (Holm 1979). Then the interval
[1 + number of units shown to be better, n - number of units shown to be worse] holds the true
rank with at least the stated confidence: for all units together over all n (n - 1) one-sided
hypotheses (simultaneous intervals for ranks from pairwise comparisons: Al Mohamad, Goeman and
van Zwet, Biometrics 78, 2022; Klein, Wright and Wieczorek, J. R. Stat. Soc. C 69, 2020), or for
one unit over its 2 (n - 1) (marginal confidence sets: Mogstad, Romano, Shaikh and Wilhelm,
Rev. Econ. Stud. 91, 2024). Citations from memory. Holm's procedure needs no assumption on
dependence, which pairwise differences have. What two units share through one calibration cancels
in their difference.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from backbench.errors import Refusal
from backbench.quantities.counts import counted
from backbench.statistics.students_t import all_below

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Names = npt.NDArray[np.str_]
CONFIDENCE = 0.95
FEWEST_OTHERS = 5
"""Other units that a rank takes at least."""
NEARLY_ALL = 0.9
"""Share of the ranks from which on an interval says nothing of the unit's place."""
METHOD = "Holm over pairwise differences with combined uncertainty"


@dataclass(frozen=True, eq=False)
class Values:
    """What is ranked, low values first: n values with their standard uncertainties.

    uncertainty: NaN where unknown: nothing is then claimed about that unit. Of the unit's own
        record and session; shared: of its calibration, and source: which one, "" for none that
        is shared.
    dof: degrees of freedom of uncertainty, infinite where not limited.
    at_most, at_least: the value is an upper (lower) bound of the true one.
    """

    value: Floats
    uncertainty: Floats
    dof: Floats
    at_most: Flags
    at_least: Flags
    shared: Floats
    source: Names

    def __post_init__(self) -> None:
        if not np.all(np.isfinite(self.value)):
            raise ValueError("values must be finite")
        if np.any(self.uncertainty < 0):
            raise ValueError("uncertainties must not be negative")


def oriented(
    value: Any,
    uncertainty: Any,
    better: str,
    *,
    dof: Any = None,
    bound: Any = None,
    shared: Any = None,
    source: Any = None,
) -> Values:
    """Values turned so that the least is the best: negated where higher is better, absolute
    where nearer zero is. `bound` holds "upper", "lower" or None for each."""
    v = np.asarray(value, float)
    sides = [None] * v.size if bound is None else list(bound)
    upper = np.asarray([side == "upper" for side in sides], bool)
    lower = np.asarray([side == "lower" for side in sides], bool)
    turned = better == "higher"
    return Values(
        value=-v if turned else np.abs(v) if better == "nearer zero" else v,
        uncertainty=np.asarray([np.nan if x is None else x for x in uncertainty], float),
        dof=np.full(v.shape, np.inf) if dof is None else _degrees(dof),
        at_most=lower if turned else upper,
        at_least=upper if turned else lower,
        shared=np.zeros(v.shape) if shared is None else np.asarray(shared, float),
        source=np.asarray([""] * v.size if source is None else [x or "" for x in source], str),
    )


def _degrees(dof: Any) -> Floats:
    return np.asarray([np.inf if x is None else x for x in dof], float)


def below(values: Values, rows: slice | None = None) -> Floats:
    """p[i, j] of the hypothesis that unit i isn't below unit j; 1 where nothing can be claimed.

    rows: units i to give (all by default). Student's t with Welch-Satterthwaite degrees of
    freedom (GUM G.4.1); certain where neither has an uncertainty and the values differ.
    """
    part = rows or slice(None)
    difference = values.value[None, :] - values.value[part, None]
    own, other = values.uncertainty[part, None] ** 2, values.uncertainty[None, :] ** 2
    variance = own + other + _shared(values, part)
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = own**2 / values.dof[part, None] + other**2 / values.dof[None, :]
        dof = np.where(spread > 0, variance**2 / spread, 1e12)
        p = all_below(np.minimum(dof, 1e12), -difference / np.sqrt(variance))
    p = np.where(variance == 0, np.where(difference > 0, 0.0, 1.0), p)
    unclaimed = np.isnan(p) | values.at_least[part, None] | values.at_most[None, :]
    return np.where(unclaimed, 1.0, p)


def _shared(values: Values, part: slice) -> Floats:
    """Variance of each difference from calibrations: of a common one only what differs."""
    one, other = values.shared[part, None], values.shared[None, :]
    source = values.source[part, None]
    together = (source != "") & (source == values.source[None, :])
    return np.asarray(np.where(together, (one - other) ** 2, one**2 + other**2), float)


def holm(p: Floats, alpha: float) -> Flags:
    """Hypotheses rejected at family-wise error rate alpha (Holm's step-down)."""
    flat = p.ravel()
    order = np.argsort(flat, kind="stable")
    allowed = alpha / (flat.size - np.arange(flat.size))
    kept = np.flatnonzero(flat[order] > allowed)
    count = int(kept[0]) if kept.size else flat.size
    rejected = np.zeros(flat.size, bool)
    rejected[order[:count]] = True
    return rejected.reshape(p.shape)


def simultaneous(values: Values, confidence: float = CONFIDENCE) -> npt.NDArray[np.int64]:
    """Rank intervals of all n units together, shape (n, 2), 1 the least.

    Memory grows with n squared: about 0.3 GB at n = 2,000.
    """
    n = values.value.size
    off_diagonal = ~np.eye(n, dtype=bool)
    shown = np.zeros((n, n), bool)
    if n > 1:
        shown[off_diagonal] = holm(below(values)[off_diagonal], 1 - confidence)
    return np.stack([1 + shown.sum(axis=0), n - shown.sum(axis=1)], axis=1)


def of_one(values: Values, index: int, confidence: float = CONFIDENCE) -> tuple[int, int]:
    """The rank interval of one unit among n, its own confidence; 1 is the least."""
    n = values.value.size
    if n == 1:
        return 1, 1
    others = np.arange(n) != index
    before = below(values, slice(index, index + 1))[0, others]
    after = _above(values, index)[others]
    shown = holm(np.stack([before, after]), 1 - confidence)
    return 1 + int(shown[1].sum()), n - int(shown[0].sum())


def place(values: Values, index: int) -> tuple[int, int] | None:
    """The rank interval of one unit, the one rule for every screen; None with too few others."""
    return of_one(values, index) if values.value.size > FEWEST_OTHERS else None


def _above(values: Values, index: int) -> Floats:
    """p[j] of the hypothesis that unit j isn't below the unit at index."""
    turned = replace(values, value=-values.value, at_most=values.at_least, at_least=values.at_most)
    return np.asarray(below(turned, slice(index, index + 1))[0])


def percentile(values: Values, index: int) -> float:
    """Share of the other units that one unit is better than, in percent; equals count half.

    Raises Refusal where there is no other unit.
    """
    others = np.delete(values.value, index)
    if others.size == 0:
        raise Refusal("there is no other unit")
    worse = np.count_nonzero(others > values.value[index])
    equal = np.count_nonzero(others == values.value[index])
    return 100 * (worse + equal / 2) / others.size


def ordinal(number: int) -> str:
    """1st, 2nd, 3rd, 4th, …, 11th, …"""
    if number % 100 in (11, 12, 13):
        return f"{number}th"
    ending = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


def is_open(low: int, high: int, n: int) -> bool:
    """Whether an interval of at least two ranks holds nearly all of n: it is no place then."""
    return 1 < high - low + 1 >= NEARLY_ALL * n


def interval_text(low: int, high: int, n: int) -> str:
    """In words, as in "3rd to 7th of 41"; one rank where both are equal; where it may be nearly
    any, "not told apart from its 40 peers"."""
    if is_open(low, high, n):
        return f"not told apart from its {counted(n - 1, 'peer')}"
    ranks = ordinal(low) if low == high else f"{ordinal(low)} to {ordinal(high)}"
    return f"{ranks} of {n}"
