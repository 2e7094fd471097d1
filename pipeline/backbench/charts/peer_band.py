"""A family of curves brought to one grid: what the peers do at each place along it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
QUANTILES = (0.0, 0.25, 0.5, 0.75, 1.0)
FEWEST = 3
REACHED = 0.8
"""The share of the peers that must reach a place along the grid: fewer are other peers."""


def envelope(
    curves: Mapping[tuple[str, str], tuple[Sequence[float], Sequence[float]]],
    *,
    log_y: bool = False,
    points: int = 120,
) -> list[dict[str, float]]:
    """Least, quartiles, median and greatest of curves over a logarithmic grid of x.

    Each curve is (x, y), x above 0 in any order. A curve speaks only within its own range of x;
    the grid keeps the places where at least REACHED of them, and FEWEST, speak. Between points, y
    (its logarithm with log_y) is interpolated over the logarithm of x.
    Returns rows of x, least, q1, middle, q3, greatest, count; none where curves are too few.
    """
    transformed = [_transformed(x, y, log_y) for x, y in curves.values() if len(x) > 1]
    if len(transformed) < FEWEST:
        return []
    low, high = min(x[0] for x, _ in transformed), max(x[-1] for x, _ in transformed)
    grid = np.linspace(low, high, points)
    table = np.array([np.interp(grid, x, y, left=np.nan, right=np.nan) for x, y in transformed])
    needed = max(FEWEST, REACHED * len(transformed) - 1e-9)
    rows = []
    for k, place in enumerate(grid):
        column = table[:, k][~np.isnan(table[:, k])]
        if len(column) < needed:
            continue
        quantiles = np.quantile(column, QUANTILES)
        quantiles = 10.0**quantiles if log_y else quantiles
        names = ("least", "q1", "middle", "q3", "greatest")
        rows.append(
            {"x": float(10.0**place), "count": float(len(column))}
            | {name: float(value) for name, value in zip(names, quantiles, strict=True)}
        )
    return rows


def _transformed(x: Sequence[float], y: Sequence[float], log_y: bool) -> tuple[Array, Array]:
    order = np.argsort(np.asarray(x, dtype=float), kind="stable")
    along = np.log10(np.asarray(x, dtype=float)[order])
    up = np.asarray(y, dtype=float)[order]
    return along, np.log10(up) if log_y else up
