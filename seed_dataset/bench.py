"""The benches' input ranges: which one a reviewer picks, and what full scale means there."""

from __future__ import annotations

from backbench.documents.settings import InForce, calibration_for
from backbench.seed_dataset.scenario import Review, Scenario

HEADROOM = 1.2


def ranges(scenario: Scenario, review: Review) -> list[InForce]:
    """Calibrations in force on the day, from the most sensitive range up."""
    known = {c.range for c in scenario.settings.bench[review.bench].calibration}
    found = [calibration_for(scenario.settings, review.bench, review.date, r) for r in known]
    return sorted(found, key=lambda one: one.volts[1])


def picked(available: list[InForce], peak_v: float) -> InForce:
    """The most sensitive range that leaves headroom. Raises ValueError where none does."""
    for one in available:
        if peak_v * HEADROOM <= min(one.volts[1], one.volts[2]):
            return one
    raise ValueError(f"no range for {peak_v:.1f} V peak")
