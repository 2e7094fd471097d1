"""What work changed, in sentences: each difference with its uncertainty and a verdict in words."""

from __future__ import annotations

from collections.abc import Sequence

from backbench.comparison.differences import Difference
from backbench.quantities.counts import counted
from backbench.quantities.writing import measured, quantity

SIGNIFICANT_DIGITS = 3


def effects_summary(differences: Sequence[Difference]) -> str:
    """How many figures became better or worse, in one sentence."""
    if not differences:
        return "Nothing was measured under the same conditions before and after the work."
    words = [d.assessment for d in differences]
    parts = [
        f"{counted(words.count('better'), 'figure')} became better",
        f"{words.count('worse')} worse",
        f"{words.count('other')} changed without a better direction",
        f"{words.count('not significantly different')} did not change significantly",
    ]
    return f"Of {counted(len(words), 'figure')} measured before and after: {', '.join(parts)}."


def effect_sentence(d: Difference) -> str:
    """One difference: from what to what, by how much, and whether that is better."""
    side = f", {d.output}" if d.output else ""
    change = measured(d.difference, d.uncertainty, d.unit)
    values = (quantity(value, d.unit, SIGNIFICANT_DIGITS) for value in (d.first, d.second))
    return f"{d.title}{side}: {' → '.join(values)}, a change of {change}: {d.assessment}."
