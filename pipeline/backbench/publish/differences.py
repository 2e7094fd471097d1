"""Which differences a page tells: of the quantities that units are compared in."""

from __future__ import annotations

from collections.abc import Iterable

from backbench.compare.lines import PLACED
from backbench.compare.pairs import Difference, left_and_right
from backbench.errors import UserError
from backbench.publish.sentences import sides_said
from backbench.store import Store


def told_of(differences: Iterable[Difference]) -> list[Difference]:
    """Without single harmonics and lines, and without what another quantity says already."""
    return [d for d in differences if d.order_n is None and d.metric in PLACED]


def sides(store: Store, unit_key: str) -> str:
    """How left and right of a unit differ, in a sentence; "" where it hasn't both."""
    try:
        return sides_said(told_of(left_and_right(store, unit_key)))
    except UserError:
        return ""
