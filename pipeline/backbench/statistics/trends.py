"""One quantity against another: robust slope, rank correlation, and the same within groups."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from backbench.errors import Refusal
from backbench.quantities.writing import in_text, ordinary, signed
from backbench.statistics.permutation_test import permutation_p_value, rank_correlation
from backbench.statistics.rank_statistics import adjusted_for_many, kruskal_p_value, theil_sen

if TYPE_CHECKING:
    import polars as pl

CONFIDENCE = 0.95
FEWEST = 10
"""Units below which no line or coefficient is given."""
GROUP_FEWEST = 5
ROUNDING = 1e-9
DIFFERENT = 0.05
"""p of the test of Kruskal and Wallis up to which groups differ in level."""
MOST = 2000
"""Units above which slopes are taken from some of them."""


@dataclass(frozen=True)
class Trend:
    """Theil-Sen slope with its interval, Spearman's rho with its p, over n units.

    slope, low, high: change of y for one unit of x. intercept: of the line through the medians.
    within: the same for each group with enough units. note: "" or where groups differ in the
    slope's sign or in level: then the pooled line stands for the change of groups and is withheld.
    """

    n: int
    slope: float
    low: float
    high: float
    intercept: float
    rho: float
    p: float
    confidence: float = CONFIDENCE
    within: Mapping[str, Trend] = field(default_factory=dict)
    note: str = ""

    @property
    def is_withheld(self) -> bool:
        """Whether the pooled line is not to be shown, because groups differ."""
        return bool(self.note)

    @property
    def is_seen(self) -> bool:
        """Whether the slope's interval excludes zero."""
        return self.low > 0 or self.high < 0


def trend(
    x: Any, y: Any, groups: Sequence[str] | None = None, confidence: float = CONFIDENCE
) -> Trend:
    """The trend of y over x (1-D, of one length, finite), pooled and within each group.

    Slope and interval: Theil 1950, Sen 1968; of more than 2,000 units, from 2,000 that stand at
    equal distances in the order of x. p: two-sided, over all orders (permutation_test.py).
    Raises Refusal for fewer than ten units, or where x or y has one value only.
    """
    xs, ys = np.asarray(x, float), np.asarray(y, float)
    pooled = _one(xs, ys, confidence)
    if groups is None:
        return pooled
    within = {}
    for name in sorted(set(groups)):
        here = np.asarray([group == name for group in groups])
        try:
            within[name] = _one(xs[here], ys[here], confidence)
        except Refusal:
            continue
    return Trend(
        n=pooled.n,
        slope=pooled.slope,
        low=pooled.low,
        high=pooled.high,
        intercept=pooled.intercept,
        rho=pooled.rho,
        p=pooled.p,
        confidence=confidence,
        within=within,
        note=disagreement(pooled, within) or level_difference(xs, ys, groups, pooled, within),
    )


def _one(x: Any, y: Any, confidence: float) -> Trend:
    if x.size < FEWEST:
        raise Refusal(f"{x.size} units; a trend takes at least {FEWEST}")
    if np.ptp(x) == 0 or np.ptp(y) == 0:
        raise Refusal("all values are equal")
    few = _thinned(x)
    line = theil_sen(x[few], y[few], confidence)
    return Trend(
        n=int(x.size),
        **line._asdict(),
        rho=rank_correlation(x, y),
        p=permutation_p_value(x, y),
        confidence=confidence,
    )


def _thinned(x: Any) -> Any:
    """Positions that slopes are taken from: their number grows with the square of these."""
    if x.size <= MOST:
        return np.arange(x.size)
    order = np.argsort(x, kind="stable")
    return order[np.linspace(0, x.size - 1, MOST).round().astype(int)]


def disagreement(pooled: Trend, within: Mapping[str, Trend]) -> str:
    """A note where the slope within groups has the other sign than the pooled one.

    Given where every group's slope has the other sign, or where one's interval lies wholly on
    the other side of zero.
    """
    opposite = [name for name, part in within.items() if part.slope * pooled.slope < 0]
    sure = [name for name in opposite if within[name].is_seen]
    if not opposite or (len(opposite) < len(within) and not sure):
        return ""
    named = opposite if len(opposite) == len(within) else sure
    direction = "rises" if pooled.slope > 0 else "falls"
    other = "falls" if pooled.slope > 0 else "rises"
    return (
        f"over all units it {direction}, but within {', '.join(named)} it {other}: "
        "the groups differ in more than this"
    )


def level_difference(
    x: Any, y: Any, groups: Sequence[str], pooled: Trend, within: Mapping[str, Trend]
) -> str:
    """A note where groups differ in y at equal x (Kruskal and Wallis 1952), "" otherwise.

    y is taken less the median of the slopes within groups, or the pooled one where there is none,
    times x. Groups of fewer than five units take no part.
    """
    slope = float(np.median([part.slope for part in within.values()])) if within else pooled.slope
    labels = np.asarray(groups)
    parts = {name: (y - slope * x)[labels == name] for name in sorted(set(groups))}
    parts = {name: part for name, part in parts.items() if part.size >= GROUP_FEWEST}
    if len(parts) < 2 or np.ptp(np.concatenate([*parts.values()])) < ROUNDING * np.ptp(y):
        return ""
    if kruskal_p_value([*parts.values()]) > DIFFERENT:
        return ""
    return (
        f"{', '.join(parts)} differ in level: a line over all units would show the change of "
        "groups, so none is given"
    )


def false_discovery(p: Any) -> list[float]:
    """p values adjusted for many trends looked at together (Benjamini and Hochberg 1995)."""
    return [float(q) for q in adjusted_for_many(np.asarray(p, float))]


@dataclass(frozen=True)
class Screened:
    """One of many quantities looked at together: its trend, and p adjusted for their number."""

    name: str
    trend: Trend
    adjusted_p: float


def screen(
    predictor: Any, quantities: Mapping[str, Any], groups: Sequence[str] | None = None
) -> tuple[list[Screened], dict[str, str]]:
    """The trend of each quantity over one other, least adjusted p first.

    predictor, and every array of quantities: of one length, NaN where a unit has no value.
    Gives the trends with p adjusted by Benjamini and Hochberg, and those that can't be told
    with the reason.
    """
    x = np.asarray(predictor, float)
    trends: dict[str, Trend] = {}
    refused: dict[str, str] = {}
    for name, values in quantities.items():
        y = np.asarray(values, float)
        both = np.isfinite(x) & np.isfinite(y)
        named = None if groups is None else [g for g, k in zip(groups, both, strict=True) if k]
        try:
            trends[name] = trend(x[both], y[both], named)
        except Refusal as refusal:
            refused[name] = str(refusal)
    adjusted = false_discovery([one.p for one in trends.values()])
    rows = [Screened(n, t, q) for (n, t), q in zip(trends.items(), adjusted, strict=True)]
    return sorted(rows, key=lambda row: (row.adjusted_p, row.name)), refused


def of_frame(frame: pl.DataFrame) -> Trend:
    """The trend of a result with columns x, y and technology. Raises Refusal as `trend`."""
    known = frame.drop_nulls(["x", "y"])
    return trend(known["x"], known["y"], known["technology"].to_list())


def step_of(x_unit: str) -> tuple[float, str]:
    """How much of x a slope is given for, and that in words: years by the decade."""
    if x_unit in ("year", "years"):
        return 10.0, "a decade"
    return 1.0, f"per {x_unit or 'unit'}"


def slope_text(slope: float, x_unit: str, y_unit: str) -> str:
    """A slope in words: "+0.03 dB a decade"."""
    factor, words = step_of(x_unit)
    return f"{_change(slope * factor, y_unit)} {words}"


def _change(value: float, unit: str) -> str:
    return ordinary(signed(value, "" if unit == "1" else unit))


def description_lines(trend: Trend, x_unit: str, y_unit: str) -> list[str]:
    """A trend in words: over all units unless withheld, within each group, then the note."""
    lines = [] if trend.is_withheld else [_description_line("all", trend, x_unit, y_unit)]
    lines += [_description_line(name, part, x_unit, y_unit) for name, part in trend.within.items()]
    return lines + ([trend.note] if trend.note else [])


def _description_line(name: str, part: Trend, x_unit: str, y_unit: str) -> str:
    factor, words = step_of(x_unit)
    low, high = (_change(end * factor, y_unit) for end in (part.low, part.high))
    if not part.is_seen:
        return f"{name}: no relation seen ({low} to {high} {words}, n {part.n})"
    return (
        f"{name}: {slope_text(part.slope, x_unit, y_unit)} ({low} to {high}, "
        f"{in_text(100 * part.confidence, '%')}), rho {in_text(part.rho, digits=2)}, "
        f"p {in_text(part.p, digits=2)}, n {part.n}"
    )
