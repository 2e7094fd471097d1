"""How alike things are: differences between patterns, an order of like ones, a map of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def least_differences(levels: Floats, bounds: npt.NDArray[np.bool_]) -> Floats:
    """The root mean square difference of each two rows, as small as bounds allow it to be.

    levels: shape (things, columns), NaN where there is none. bounds: where a level is at most what
    is given. Two bounds may be equal, a level may lie below a bound of another: then they don't
    differ. Columns that one of the two lacks are left out; two without a common one differ by NaN.
    """
    count = len(levels)
    result = np.zeros((count, count))
    for k in range(count):
        apart = np.abs(levels - levels[k])
        consistent = (bounds & bounds[k]) | (bounds & (levels[k] <= levels))
        consistent |= bounds[k] & (levels <= levels[k])
        apart = np.where(np.isfinite(apart) & consistent, 0.0, apart)
        shared = np.isfinite(apart)
        total = np.where(shared, apart**2, 0.0).sum(axis=1)
        numbers = shared.sum(axis=1)
        with np.errstate(invalid="ignore"):
            result[k] = np.sqrt(total / np.where(numbers, numbers, np.nan))
    return result


def in_order_of_likeness(distances: Floats) -> list[int]:
    """Indices so that like things are neighbours: the leaves of a tree of average distances.

    distances: symmetric, finite. Of the orders that the tree allows, the one whose neighbours are
    nearest in sum (Bar-Joseph, Gifford and Jaakkola 2001, by scipy).
    """
    if len(distances) < 3:
        return list(range(len(distances)))
    from scipy.cluster import hierarchy
    from scipy.spatial.distance import squareform

    tree = hierarchy.linkage(
        squareform(distances, checks=False), method="average", optimal_ordering=True
    )
    return [int(k) for k in hierarchy.leaves_list(tree)]


@dataclass(frozen=True)
class LikenessMap:
    """Places in a plane whose distances are as near to those given as a plane allows.

    shown: the share of the squared distances that the plane holds, 0 to 1. directions: shape
    (columns, 2), where each column grows, by its covariance with the axes in units of theirs.
    """

    places: Floats
    shown: float
    directions: Floats


def likeness_map(columns: Floats) -> LikenessMap:
    """The plane of greatest spread through points: classical scaling of their Euclidean distances.

    columns: shape (things, columns), finite, on scales that may be added (Torgerson 1952: the same
    as principal components of the points). Each axis points so that its largest share by size
    is positive, so that the same points give the same map.
    """
    centred = columns - columns.mean(axis=0)
    places, sizes, axes = np.linalg.svd(centred, full_matrices=False)
    signs = np.sign(axes[np.arange(len(axes)), np.abs(axes).argmax(axis=1)])
    placed = places * sizes * np.where(signs == 0, 1.0, signs)
    total = float((sizes**2).sum())
    plane = np.zeros((len(columns), 2))
    plane[:, : min(2, placed.shape[1])] = placed[:, :2]
    shown = float((sizes[:2] ** 2).sum()) / total if total else 1.0
    spread = np.sqrt((plane**2).sum(axis=0))
    directions = centred.T @ plane / np.where(spread > 0, spread, 1.0)
    return LikenessMap(plane, shown, directions)
