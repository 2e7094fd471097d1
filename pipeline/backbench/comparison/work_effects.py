"""What work changed, in sentences and words."""

from __future__ import annotations

from collections.abc import Sequence

from backbench.comparison.differences import Difference
from backbench.quantities.counts import counted
from backbench.quantities.sentences import first_few, lowered

VERDICTS = {
    "better": "better",
    "worse": "worse",
    "other": "changed",
    "not significantly different": "inconclusive",
}
"""An assessment as a narrow column has it. "changed": no direction of the quantity is better;
"inconclusive", as of a specification: the change is smaller than its uncertainty."""


def effects_summary(differences: Sequence[Difference]) -> str:
    """How many figures became better or worse, in one sentence."""
    if not differences:
        return "Nothing was measured under the same conditions before and after the work."
    words = [d.assessment for d in differences]
    parts = [
        f"{words.count('better') or 'none'} became better",
        f"{words.count('worse') or 'none'} worse",
    ]
    other = [lowered(d.title) for d in differences if d.assessment == "other"]
    if other:
        parts.append(f"{first_few(other)} changed, which is neither better nor worse")
    if same := words.count("not significantly different"):
        parts.append(f"{same} did not change significantly")
    count = counted(len(words), "figure")
    return f"Of {count} measured before and after the work {', '.join(parts)}."
