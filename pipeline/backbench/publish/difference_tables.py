"""Which differences a page tells: of the quantities that units are compared in."""

from __future__ import annotations

from collections.abc import Iterable

from backbench.comparison.compared_points import compared_points
from backbench.comparison.differences import Difference
from backbench.comparison.unit_comparison import Comparison
from backbench.publish import finding_sentences


def main_differences(differences: Iterable[Difference]) -> list[Difference]:
    """Without single harmonics and lines, and without what another quantity says already."""
    return [d for d in differences if d.order_n is None and d.metric in compared_points()]


def left_right_sentence(compared: Comparison) -> str:
    """How left and right of a unit, or of a mono pair, differ; "" where there is one side."""
    named, sides = compared.sides
    return finding_sentences.left_right_sentence(main_differences(sides)) if named else ""
