"""The report of a unit before and after work."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from backbench.comparison.another_session import default_note
from backbench.comparison.work_effects import effect_sentence, effects_summary
from backbench.quantities.sentences import sentence
from backbench.quantities.writing import ordinary
from backbench.reports.terminal_tables import console, flowing, printable

if TYPE_CHECKING:
    from rich.console import Console

    from backbench.comparison.differences import Difference

MOST_EFFECTS = 12


def show_work(title: str, differences: Sequence[Difference], out: Console | None = None) -> None:
    """A summary, then a sentence a metric, the most certain first."""
    out = out or console()
    flowing(out, f"{printable(title)}: before and after work", style="bold")
    flowing(out, effects_summary(differences))
    for difference in differences[:MOST_EFFECTS]:
        flowing(out, printable(ordinary(effect_sentence(difference))))
    if differences:
        flowing(
            out, "Conditions are equal on both sides. Uncertainties are expanded (95 %) and hold "
            "for another session of the same unit.",
        )  # fmt: skip
        if note := default_note(differences):
            flowing(out, sentence(note))
