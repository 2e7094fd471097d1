"""Levels of recordings against those that the plan foretold."""

from __future__ import annotations

from collections.abc import Iterator

from backbench.bench_day.folder_scan import ScannedFile
from backbench.bench_day.manifest_entries import planned_step
from backbench.bench_day.planned_capture import Plan
from backbench.documents.manifest import Capture, Manifest
from backbench.documents.settings import Settings, calibration_for
from backbench.documents.stimuli import SquareWave, Sweep
from backbench.errors import UserError
from backbench.quantities.writing import in_text

WITHIN = 0.25
"""Relative distance from the planned level that is passed over in silence."""


def off_level(
    manifest: Manifest, settings: Settings, capture: Capture, item: ScannedFile, plan: Plan
) -> Iterator[str]:
    """A line where the greatest output is far from the planned volts."""
    step = planned_step(plan, capture.file)
    if step is None or step.out_vrms is None or isinstance(capture.stimulus, (SquareWave, Sweep)):
        return
    volts = greatest_volts(manifest, settings, capture, item)
    if volts is not None and abs(volts / step.out_vrms - 1) > WITHIN:
        planned = in_text(step.out_vrms, "V")
        yield f"{capture.file}: {in_text(volts, 'V')} at the output; planned were {planned}"


def greatest_volts(
    manifest: Manifest, settings: Settings, capture: Capture, item: ScannedFile
) -> float | None:
    """Volts (rms, all that is in the record) of the strongest output; None without calibration."""
    try:
        held = calibration_for(
            settings, manifest.review.bench, manifest.review.date,
            manifest.range_of(capture),
        )  # fmt: skip
    except UserError:
        return None
    volts = [
        item.rms[n - 1] * held.volts[n]
        for n, role in manifest.tracks_of(capture).items()
        if role.output and n <= len(item.rms) and n in held.volts
    ]
    return max(volts, default=None)
