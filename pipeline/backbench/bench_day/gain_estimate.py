"""The gain of a unit, as far as something already tells it."""

from __future__ import annotations

import math
from pathlib import Path

from backbench.bench_day.capture_files import found_file
from backbench.documents.manifest import Manifest
from backbench.documents.settings import Settings, calibration_for
from backbench.documents.stimuli import Tone
from backbench.errors import Refusal, UserError
from backbench.readers.file_formats import read_recording
from backbench.signal.tone_search import find_tone
from backbench.signal.track import Track
from backbench.storage.catalogue_paths import CataloguePaths
from backbench.storage.database import DATABASE_NAME, reading

KNOWN = """
SELECT value, review_key FROM reading JOIN review USING (review_key)
WHERE unit_key = $unit AND metric = 'gain' AND value IS NOT NULL AND driven IS NULL
      AND abs(frequency_hz / 1000 - 1) < 0.01
ORDER BY reviewed DESC, abs(ln(generator_vrms / 0.1)), output LIMIT 1
"""


def measured_gain(folder: Path, manifest: Manifest, settings: Settings) -> tuple[float, str] | None:
    """Gain in dB from the first tone of the review near 1 kHz that can be read, and its file."""
    for capture in manifest.capture:
        stimulus = capture.stimulus
        if not isinstance(stimulus, Tone) or capture.loop_back or not 900 < stimulus.tone_hz < 1100:
            continue
        if not isinstance(stimulus.generator_vrms, float) or capture.conditions.driven:
            continue
        path = found_file(folder, capture.file)
        if path is None:
            continue
        try:
            volts = _greatest(path, manifest, settings, capture.file, stimulus)
        except (UserError, Refusal):
            continue
        return 20 * math.log10(volts / stimulus.generator_vrms), f"from {capture.file}"
    return None


def gain_of_unit(
    places: CataloguePaths, settings: Settings, unit: str
) -> tuple[float, str] | tuple[None, None]:
    """Gain in dB from the unit's newest review in the catalogue, and that review's key."""
    if not (places.database / DATABASE_NAME).exists():
        return None, None
    with reading(places.database) as store:
        rows = store.rows(KNOWN, {"unit": settings.unit_key(unit)})
    return (float(rows[0][0]), f"from review {rows[0][1]}") if rows else (None, None)


def _greatest(
    path: Path, manifest: Manifest, settings: Settings, file: str, stimulus: Tone
) -> float:
    """Volts (rms) of the fundamental on the strongest output. Raises UserError, Refusal."""
    (capture,) = (c for c in manifest.capture if c.file == file)
    held = calibration_for(
        settings, manifest.review.bench, manifest.review.date,
        manifest.conditions_of(capture).range,
    )  # fmt: skip
    recording = read_recording(path)
    levels = []
    for n, role in manifest.tracks_of(capture).items():
        if role.output and n in held.volts and n <= recording.samples.shape[1]:
            volts = recording.samples[:, n - 1] * held.volts[n]
            track = Track(volts, recording.rate_hz, held.volts[n], held.relative, recording.bits)
            tone = find_tone(track, stimulus.tone_hz, manifest.review.mains_hz)
            levels.append(tone.fundamental.rms)
    if not levels:
        raise Refusal("no calibrated output track")
    return max(levels)
