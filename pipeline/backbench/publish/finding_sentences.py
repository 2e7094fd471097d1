"""One plain sentence a section, computed from what was read; nothing here is invented.

Every function is pure: readings, verdicts and differences in, text out. Where there is nothing
to say the sentence says that.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

from backbench.comparison.differences import Difference
from backbench.comparison.standings import Standing
from backbench.comparison.verdicts import Verdict
from backbench.ingest.outcomes import ReviewOutcome
from backbench.quantities.counts import counted
from backbench.quantities.sentences import first_few, listed, lowered, sentence
from backbench.quantities.writing import quantity

VERBS = {
    "meets": ("meets", "meets"),
    "fails": ("fails", "fail"),
    "inconclusive": ("is inconclusive for",) * 2,
    "measured under other conditions": ("was measured under other conditions than",) * 2,
    "not measured": ("has no reading for",) * 2,
}
UNDECIDED_QUARTER = "not certainly in the best or the worst quarter"
BEST_QUARTER, WORST_QUARTER = 0.25, 0.75


def state_sentence(state: str, work: Sequence[str], reviewed: dt.date) -> str:
    """The unit's condition at a review, and the work that was done."""
    text = f"Measured {state} on {reviewed.isoformat()}"
    return sentence(f"{text}: {listed(work)}" if work else text)


def verdicts_sentence(verdicts: Sequence[Verdict]) -> str:
    """How many specifications are met, failed, inconclusive or open."""
    if not verdicts:
        return "No specifications are recorded for this unit."
    parts = []
    for outcome, (verb, _) in VERBS.items():
        count = sum(verdict.outcome == outcome for verdict in verdicts)
        if count:
            parts.append(f"{verb} {count}")
    return sentence(f"of {counted(len(verdicts), 'specification')} it {listed(parts)}")


def ranks_sentence(lines: Sequence[Standing], peers: str) -> str:
    """In which metrics a unit is certainly in the best or the worst quarter of its peers.

    A metric counts only where its whole rank interval lies in the quarter.
    """
    ranked = [line for line in lines if line.rank and line.n > 3]
    if not ranked:
        return "There are too few peers to rank this unit."
    best = _titles(line for line in ranked if line.rank and line.rank[1] <= line.n * BEST_QUARTER)
    last = _titles(line for line in ranked if line.rank and line.rank[0] > line.n * WORST_QUARTER)
    most = max(line.n for line in ranked)
    parts = []
    if best:
        parts.append(f"in the best quarter for {first_few(best)}")
    if last:
        parts.append(f"in the worst quarter for {first_few(last)}")
    beginning = f"among up to {counted(most, 'unit')} ({peers}) it is "
    return sentence(beginning + (listed(parts) if parts else UNDECIDED_QUARTER))


def _titles(lines: object) -> list[str]:
    """Titles in small letters where they begin a word, each once, with the limit where one is."""
    titles: list[str] = []
    for line in lines:  # type: ignore[attr-defined]
        title = lowered(line.title)
        if line.limit_percent is not None:
            title += f" ({quantity(line.limit_percent, '%')})"
        if title not in titles:
            titles.append(title)
    return titles


def changes_sentence(differences: Sequence[Difference], since: str) -> str:
    """What changed between two reviews, beyond uncertainty (k = 2)."""
    if not differences:
        return f"Nothing was measured under the same conditions in {since}."
    outcomes = [d.assessment for d in differences]
    count = counted(len(differences), "value")
    better, worse, other = (outcomes.count(word) for word in ("better", "worse", "other"))
    parts = [
        f"{number} {word}"
        for number, word in (
            (better, "became better"),
            (worse, "became worse"),
            (other, "changed, which is neither better nor worse"),
        )
        if number
    ]
    if not parts:
        return f"Of {count} measured in both, none changed significantly since {since}."
    changes = f"{listed(parts)} since {since}"
    return f"Of {count} measured in both, {changes} by more than their uncertainty."


def left_right_sentence(differences: Sequence[Difference]) -> str:
    """In what left and right differ by more than their uncertainty."""
    apart = list(dict.fromkeys(lowered(d.title) for d in differences if (d.beyond or 0) > 1))
    if not differences:
        return "Left and right were not measured under the same conditions."
    if not apart:
        return "Left and right do not differ significantly in anything measured."
    return sentence(f"left and right differ significantly in {first_few(apart)}")


def missing_sentence(
    reasons: Mapping[str, Sequence[str]], ended: ReviewOutcome, lacking: Sequence[str]
) -> str:
    """What has no value.

    reasons: metrics by reason; ended: how the captures did; lacking: parts of the battery that
    were never taken.
    """
    parts = []
    if lacking:
        parts.append(f"{first_few(lacking)} {'was' if len(lacking) == 1 else 'were'} not measured")
    refused = {metric for metrics in reasons.values() for metric in metrics}
    if refused:
        parts.append(f"{counted(len(refused), 'quantity', 'quantities')} could not be determined")
    unused = len(ended.in_state("failed")) + len(ended.in_state("refused"))
    if unused:
        parts.append(f"{counted(unused, 'capture')} could not be used")
    partly = len(ended.in_state("partly refused"))
    if partly:
        parts.append(f"{counted(partly, 'capture')} could be used in part")
    return sentence(listed(parts)) if parts else "All usual tests were run."


def catalogue_sentence(units: int, reviews: int, makers: int, first: str, last: str) -> str:
    """What the catalogue holds."""
    if not units:
        return "The catalogue holds no review yet."
    text = f"{counted(units, 'unit')} of {counted(makers, 'maker')}, "
    text += f"measured in {counted(reviews, 'review')}"
    return f"{text} on {first}." if first == last else f"{text} from {first} to {last}."


def samples_sentence(differences: Sequence[Difference], first: str, second: str) -> str:
    """Whether two samples of one model differ significantly."""
    if not differences:
        return f"{first} and {second} have no quantity measured under the same conditions."
    apart = list(dict.fromkeys(lowered(d.title) for d in differences if (d.beyond or 0) > 1))
    if not apart:
        return f"{first} and {second} do not differ significantly in anything measured."
    return f"{first} and {second} differ significantly in {first_few(apart)}."
