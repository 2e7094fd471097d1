"""Where marks and labels go so that they don't lie on each other. All in pixels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Positions near the wanted ones, at least `gap` apart and within low..high.

    Order is kept. Where there is not room for all, the gap is narrowed evenly.
    """
    if not wanted:
        return []
    if len(wanted) > 1:
        gap = min(gap, (high - low) / (len(wanted) - 1))
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    groups: list[tuple[float, int]] = []
    for index in order:
        groups.append((wanted[index], 1))
        while len(groups) > 1 and _overlap(groups[-2], groups[-1], gap):
            groups[-2:] = [_merged(groups[-2], groups[-1])]
    flat = [c + gap * (k - (n - 1) / 2) for c, n in groups for k in range(n)]
    flat = _clamped(flat, gap, low, high)
    placed = [0.0] * len(wanted)
    for index, position in zip(order, flat, strict=True):
        placed[index] = position
    return placed


def swarm(along: Sequence[float], diameter: float, room: float) -> list[float]:
    """Offsets across a line that keep dots of this diameter apart, nearest to the line first.

    Offsets stay within ±room; where a dot finds no free place, it lies on the line.
    """
    placed: list[tuple[float, float]] = []
    offsets = [0.0] * len(along)
    steps = [0.0]
    for k in range(1, int(room / (diameter / 2)) + 1):
        steps += [k * diameter / 2, -k * diameter / 2]
    for index in sorted(range(len(along)), key=lambda i: along[i]):
        near = [(x, y) for x, y in placed if along[index] - x < diameter]
        free = (s for s in steps if all(_apart(along[index] - x, s - y, diameter) for x, y in near))
        offsets[index] = next(free, 0.0)
        placed.append((along[index], offsets[index]))
    return offsets


def rows_to_name(count: int, subject: Sequence[int], most: int) -> list[int]:
    """Which of `count` ranked rows to name: all if few, else subject, its neighbours, both ends."""
    if count <= most:
        return list(range(count))
    wanted = [*subject, 0, count - 1]
    for reach in (1, 2):
        wanted += [s + side * reach for s in subject for side in (-1, 1)]
    wanted += [1, count - 2, count // 2, count // 4, 3 * count // 4]
    kept: list[int] = []
    for index in wanted:
        if 0 <= index < count and index not in kept and len(kept) < max(most, len(subject)):
            kept.append(index)
    return sorted(kept)


def freest(
    places: Sequence[tuple[float, float]],
    width: float,
    height: float,
    points: Sequence[tuple[float, float]],
) -> tuple[float, float]:
    """The first of the places (left, middle) where a text of this size covers fewest points."""

    def covered(place: tuple[float, float]) -> int:
        left, middle = place
        return sum(
            left - 5 <= x <= left + width + 5 and abs(y - middle) <= height / 2 + 5
            for x, y in points
        )

    return min(places, key=covered)


@dataclass(frozen=True)
class Spot:
    """A mark of this radius, and how wide its name runs; a name of width 0 is not wanted."""

    x: float
    y: float
    radius: float
    width: float


def beside(
    spots: Sequence[Spot], text_height: float, room: tuple[float, float]
) -> list[tuple[float, float] | None]:
    """Where each name goes (left, middle): beside, above or beneath its mark, in order of need.

    None where every place lies on another mark or name, or runs out of the field of width and
    height `room`. Earlier spots choose first.
    """
    marks = np.array([[s.x - s.radius, s.y - s.radius, s.x + s.radius, s.y + s.radius]
                      for s in spots]).reshape(-1, 4)  # fmt: skip
    taken = [marks]
    result: list[tuple[float, float] | None] = []
    for k, spot in enumerate(spots):
        others = np.vstack([np.delete(marks, k, axis=0), *taken[1:]])
        place = next((p for p in _around(spot, text_height)
                      if _is_free(p, spot.width, text_height, room, others)), None)  # fmt: skip
        place = place if spot.width else None
        result.append(place)
        if place is not None:
            taken.append(_box(place, spot.width, text_height))
    return result


def _around(spot: Spot, height: float) -> list[tuple[float, float]]:
    aside, upright = spot.radius + 5, spot.radius + height / 2 + 1
    middle = spot.x - spot.width / 2
    return [
        (spot.x + aside, spot.y), (spot.x - aside - spot.width, spot.y),
        (middle, spot.y - upright), (middle, spot.y + upright),
    ]  # fmt: skip


def _box(place: tuple[float, float], width: float, height: float) -> NDArray[np.float64]:
    left, middle = place
    return np.array([[left, middle - height / 2, left + width, middle + height / 2]])


def _is_free(
    place: tuple[float, float], width: float, height: float, room: tuple[float, float],
    others: NDArray[np.float64],
) -> bool:  # fmt: skip
    left, top, right, bottom = _box(place, width, height)[0]
    if left < 0 or top < 0 or right > room[0] or bottom > room[1]:
        return False
    meets = (others[:, 0] < right) & (others[:, 2] > left)
    return not bool(np.any(meets & (others[:, 1] < bottom) & (others[:, 3] > top)))


def _apart(dx: float, dy: float, diameter: float) -> bool:
    return dx * dx + dy * dy >= 0.98 * diameter * diameter


def _overlap(before: tuple[float, int], after: tuple[float, int], gap: float) -> bool:
    return after[0] - before[0] < gap * (before[1] + after[1]) / 2


def _merged(before: tuple[float, int], after: tuple[float, int]) -> tuple[float, int]:
    count = before[1] + after[1]
    return (before[0] * before[1] + after[0] * after[1]) / count, count


def _clamped(positions: list[float], gap: float, low: float, high: float) -> list[float]:
    clamped = list(positions)
    for k in range(len(clamped)):
        clamped[k] = max(clamped[k], low + gap * k)
        if k:
            clamped[k] = max(clamped[k], clamped[k - 1] + gap)
    for k in range(len(clamped) - 1, -1, -1):
        last = len(clamped) - 1 - k
        clamped[k] = min(clamped[k], high - gap * last)
        if last:
            clamped[k] = min(clamped[k], clamped[k + 1] - gap)
    return clamped
