"""A review of a unit that isn't an amplifier: the usual plan of its kind, recorded."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from backbench.bench_day.measuring_chain import Chain
from backbench.bench_day.plan import Wishes, make_plan
from backbench.bench_day.planned_capture import PlannedStep, capture_table, capture_text
from backbench.documents.manifest import Manifest, TrackRole, read_manifest
from backbench.documents.settings import InForce
from backbench.seed_dataset.bench import picked
from backbench.seed_dataset.converter import to_words
from backbench.seed_dataset.draws import generator_for
from backbench.seed_dataset.recording import Recording
from backbench.seed_dataset.rig import BOTH, Played, Rig
from backbench.seed_dataset.scenario import Review, Unit
from backbench.seed_dataset.tuner import table_text, table_toml

GENERATOR = "3"


def steps_of(rig: Rig, manifest: Manifest, available: list[InForce]) -> list[PlannedStep]:
    """The usual captures of its kind on this bench. manifest: its head, with a generator track."""
    inputs = tuple(
        held.model_copy(update={"volts": {n: v for n, v in held.volts.items() if n <= len(BOTH)}})
        for held in available
    )
    gain = None if rig.gain_db is None else float(10 ** (rig.gain_db / 20))
    chain = Chain(inputs, None, gain)
    wishes = Wishes(rig.loads_ohm, float(rig.rate_hz), rig.gain_db)
    return [step for step in make_plan(manifest, chain, wishes).step if not step.loop_back]


def planned_captures(
    review: Review, rig: Rig, head: str, available: list[InForce], write: Callable[..., None]
) -> Iterator[str]:
    """Entries of the manifest. head: the manifest without captures; write(name, Recording)."""
    manifest = read_manifest(head.encode())
    tracks = {**manifest.tracks, GENERATOR: TrackRole(generator=True)}
    planning = manifest.model_copy(update={"tracks": tracks})
    for step in steps_of(rig, planning, available):
        rng = generator_for("capture", review.key, step.stem)
        played = rig.record(step, rng)
        if played is not None:
            recording = _converted(played, available, rng)
            write(f"{step.stem}.flac", recording)
            yield _entry(review.units[0], step, played, recording.calibration.range)


def _converted(played: Played, available: list[InForce], rng: np.random.Generator) -> Recording:
    """Words of the most sensitive range that holds the outputs."""
    calibration = picked(available, float(np.abs(played.volts).max()))
    positions = [BOTH.index(output) + 1 for output in played.outputs]
    tracks, full_scale = list(played.volts.T), [calibration.volts[n] for n in positions]
    if played.generator is not None:
        tracks.append(played.generator)
        full_scale.append(calibration.volts[int(GENERATOR)])
    words = to_words(tracks, full_scale, played.rate_hz, rng, played.bits)
    return Recording(words, played.rate_hz, calibration)


def _entry(unit: Unit, step: PlannedStep, played: Played, range_name: str | None) -> str:
    """The `[[capture]]` of a step as it was recorded."""
    conditions = step.conditions.model_copy(update={"range": range_name})
    roles = {
        str(n): TrackRole(unit=unit.key, output=output)
        for n, output in enumerate(played.outputs, start=1)
    }
    if played.generator is not None:
        roles[GENERATOR] = TrackRole(generator=True)
    usual = played.outputs == BOTH and played.generator is None
    recorded = step.model_copy(update={
        "file": f"{step.stem}.flac", "stimulus": played.stimulus, "conditions": conditions,
        "tracks": None if usual else roles,
    })  # fmt: skip
    return capture_text(capture_table(recorded)).rstrip()


def planned_tables(unit: Unit, rig: Rig, target: Path) -> Iterator[str]:
    """Write the tables of the session; the entry of each."""
    for kind, columns in rig.tables().items():
        (target / f"{kind}.csv").write_text(table_text(columns), encoding="utf-8", newline="\n")
        yield "\n".join([
            "[[capture]]",
            f'file = "{kind}.csv"',
            f"stimulus = {table_toml(kind, columns)}",
            f'of = {{ unit = "{unit.key}", output = "left" }}',
        ])  # fmt: skip
