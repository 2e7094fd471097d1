"""The gain of a unit, as far as something already tells it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path

from backbench.documents.manifest import Manifest
from backbench.documents.settings import Settings, calibration_for
from backbench.documents.stimuli import Tone
from backbench.errors import Refusal, UserError
from backbench.ingest.capture_files import found_file
from backbench.quantities.writing import in_text
from backbench.readers.file_formats import read_recording
from backbench.signal.tone_search import find_tone
from backbench.signal.track import Track
from backbench.storage.catalogue_paths import CataloguePaths
from backbench.storage.database import DATABASE_NAME, reading

KNOWN = """
SELECT value, review_key, load_ohm, state
FROM reading JOIN review USING (review_key) JOIN appearance USING (review_key, unit_key)
WHERE unit_key = $unit AND metric = 'gain' AND value IS NOT NULL AND driven IS NULL
      AND abs(frequency_hz / 1000 - 1) < 0.01
ORDER BY state <> $state, coalesce(abs(ln(load_ohm / $load::DOUBLE)) > 0.05, $load IS NOT NULL),
         reviewed DESC, abs(ln(generator_vrms / 0.1)), output
LIMIT 1
"""
SAME_LOAD = 0.05
Load = float | str


@dataclass(frozen=True)
class KnownGain:
    """Gain in dB into the nominal load, where it is known from, and that into other loads.

    remark: what is known, but of another state or load, so that no level is set by it.
    """

    db: float | None = None
    source: str | None = None
    loaded_db: dict[Load, float] = field(default_factory=dict)
    remark: str | None = None


GIVEN = "as given"


def known_gain(
    folder: Path,
    manifest: Manifest,
    places: CataloguePaths,
    given_db: float | None,
    nominal: Load | None,
    before_db: float | None = None,
) -> KnownGain:
    """What is known of the gain: as given, else from this review, else from the catalogue.

    nominal: the load (ohm, or "open") that the plan's levels are for; None where there is none.
    before_db: what was given for the earlier plan, which stands until a tone of this review tells.
    """
    settings = places.settings
    measured = measured_gains(folder, manifest, settings)
    loaded = {load: db for load, (db, _) in measured.items() if load is not None}
    if given_db is not None:
        return KnownGain(given_db, GIVEN, {k: v for k, v in loaded.items() if k != nominal})
    own = next((g for load, g in measured.items() if _same_load(load, nominal)), None)
    if own is not None:
        return KnownGain(own[0], f"from {own[1]}", loaded)
    if before_db is not None:
        return KnownGain(before_db, GIVEN, loaded)
    return gain_of_unit(places, settings, manifest, nominal)


def _same_load(one: Load | None, other: Load | None) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return abs(one / other - 1) <= SAME_LOAD
    return one == other


def measured_gains(
    folder: Path, manifest: Manifest, settings: Settings
) -> dict[Load | None, tuple[float, str]]:
    """Gain in dB by load, from the first tone of the review near 1 kHz into each, and its file."""
    gains: dict[Load | None, tuple[float, str]] = {}
    for capture in manifest.capture:
        stimulus, load = capture.stimulus, manifest.conditions_of(capture).load_ohm
        if not isinstance(stimulus, Tone) or capture.loop_back or not 900 < stimulus.tone_hz < 1100:
            continue
        if not isinstance(stimulus.generator_vrms, float) or capture.conditions.driven:
            continue
        path = found_file(folder, capture.file)
        if path is None or load in gains:
            continue
        try:
            volts = _greatest(path, manifest, settings, capture.file, stimulus)
        except (UserError, Refusal):
            continue
        gains[load] = (20 * math.log10(volts / stimulus.generator_vrms), capture.file)
    return gains


def gain_of_unit(
    places: CataloguePaths, settings: Settings, manifest: Manifest, nominal: Load | None
) -> KnownGain:
    """Gain from the unit's newest review in the same state and into the same load."""
    if not (places.database / DATABASE_NAME).exists():
        return KnownGain()
    unit = manifest.unit[0]
    load = nominal if isinstance(nominal, float) else None
    with reading(places.database) as store:
        wanted = {"unit": settings.unit_key(unit.key), "state": unit.state, "load": load}
        rows = store.rows(KNOWN, wanted)
    if not rows:
        return KnownGain()
    db, review, load_then, state = float(rows[0][0]), rows[0][1], rows[0][2], rows[0][3]
    if state == unit.state and (load is None or _same_load(load_then, load)):
        return KnownGain(db, f"from review {review}")
    into = "" if load_then is None else f" into {in_text(load_then, 'ohm')}"
    return KnownGain(remark=(
        f"the gain is known of another state or load only: {in_text(db, 'dB', 4)}{into}, {state}, "
        f"review {review}; name it with --gain-db if it still holds"
    ))  # fmt: skip


def _greatest(
    path: Path, manifest: Manifest, settings: Settings, file: str, stimulus: Tone
) -> float:
    """Volts (rms) of the fundamental on the strongest output. Raises UserError, Refusal."""
    (capture,) = (c for c in manifest.capture if c.file == file)
    held = calibration_for(
        settings, manifest.review.bench, manifest.review.date,
        manifest.range_of(capture),
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
