"""One long recording cut into its captures at the markers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from backbench.bench_day.chirp_markers import markers_in_turn
from backbench.bench_day.planned_capture import (
    PLAN_NAME,
    PlannedStep,
    plan_text,
    read_plan,
    stimulus_toml,
)
from backbench.bench_day.run_files import Run
from backbench.documents.accepted_manifest import accepted_manifest
from backbench.documents.file_names import MANIFEST_NAME
from backbench.documents.validation import read_bytes
from backbench.errors import Fault, UserError
from backbench.quantities.writing import in_text
from backbench.readers.declaration import OpenRecording
from backbench.readers.file_formats import open_recording
from backbench.signal.track import Array
from backbench.storage.atomic_io import ASIDE, flush_file, rename, write_text_file

WITHIN_S = 0.02
"""How far a marker may lie from where the layout puts it: two clocks 100 ppm apart for 200 s."""
SUBTYPES = {16: "PCM_16", 24: "PCM_24", None: "FLOAT"}


@dataclass(frozen=True)
class Cut:
    """A capture cut out: its file, the samples that it keeps, from and to, and their rate."""

    path: Path
    first: int
    last: int
    rate_hz: float

    def span(self) -> str:
        """Where it stands in the recording."""
        first, last = (in_text(n / self.rate_hz, "s", 4) for n in (self.first, self.last))
        return f"{first} to {last} of the recording"


def cut_run(recording: Path, run: Run, into: Path, *, dry: bool = False) -> list[Cut]:
    """Write each capture of a run as a file of its own; existing files are never overwritten.

    Raises UserError where a marker is missing, the recording breaks off, or a file is there.
    """
    with open_recording(recording) as opened:
        times = _fitted(_markers(opened), run, recording)
        cuts = [
            Cut(into / one.file, round(times(one.from_s) * opened.rate_hz),
                round(times(one.to_s) * opened.rate_hz), opened.rate_hz)
            for one in run.segment
        ]  # fmt: skip
        _refuse(cuts, opened.frames, recording)
        if not dry:
            _write(cuts, opened)
    return cuts


def follow_run(run: Run, folder: Path) -> list[str]:
    """Make the plan of a review say of the captures of a run what was played for them.

    A line for each capture whose entry in the manifest says otherwise.
    """
    played = {one.step.stem: one.step for one in run.segment if one.step is not None}
    plan = read_plan(folder)
    if plan is not None and played:
        steps = [played.get(step.stem, step) for step in plan.step]
        known = {step.stem for step in steps}
        steps += [step for stem, step in played.items() if stem not in known]
        if steps != plan.step:
            plan = plan.model_copy(update={"step": steps})
            write_text_file(folder / PLAN_NAME, plan_text(plan))
    return list(_stated_otherwise(folder, played))


def _stated_otherwise(folder: Path, played: dict[str, PlannedStep]) -> Iterator[str]:
    path = folder / MANIFEST_NAME
    if not path.exists():
        return
    for capture in accepted_manifest(read_bytes(path, "the review"), str(path)).capture:
        step = played.get(Path(capture.file).stem)
        if step is not None and capture.stimulus != step.stimulus:
            yield (
                f"{capture.file}: {MANIFEST_NAME} states another stimulus or level than was "
                f"played: correct its entry to `stimulus = {stimulus_toml(step)}`"
            )


def _markers(opened: OpenRecording) -> Array:
    """Times of all markers, looked for in the strongest track."""
    track, mean = _strongest(opened)
    opened.seek(0)
    course = (block[:, track] - mean for block in opened.blocks(opened.frames))
    return markers_in_turn(course, opened.rate_hz)


def _strongest(opened: OpenRecording) -> tuple[int, float]:
    """The track (from 0) with the greatest power beside its steady part, and that part."""
    total, squares = np.zeros(opened.tracks), np.zeros(opened.tracks)
    for block in opened.blocks(opened.frames):
        total += block.sum(axis=0)
        squares += np.square(block).sum(axis=0)
    mean = total / opened.frames
    track = int(np.argmax(squares - opened.frames * np.square(mean)))
    return track, float(mean[track])


class _Clock:
    """From seconds of the layout to seconds of the recording."""

    def __init__(self, rate: float, offset: float) -> None:
        self.rate, self.offset = rate, offset

    def __call__(self, seconds: float) -> float:
        return self.offset + self.rate * seconds


def _fitted(starts_s: Array, run: Run, recording: Path) -> _Clock:
    """The start and speed at which all markers of the layout are met."""
    expected = np.array(run.markers)
    best = np.zeros(len(expected), dtype=bool)
    for start in starts_s:
        at = start - expected[0] + expected
        nearest = starts_s[np.argmin(np.abs(starts_s[:, None] - at), axis=0)]
        met = np.abs(nearest - at) < WITHIN_S
        if met.sum() > best.sum():
            best, matched = met, nearest
    if best.sum() < len(expected):
        missing = [run.segment[n].file if n < len(run.segment) else "the end"
                   for n in np.flatnonzero(~best)]  # fmt: skip
        fault = Fault(
            str(recording), f"{int(best.sum())} of {len(expected)} markers",
            f"every marker of {run.name}; missing before: {', '.join(missing)}",
            "record the whole run, or check that it is this one",
        )  # fmt: skip
        raise UserError("the recording can't be cut", [fault])
    rate, offset = np.polyfit(expected, matched, 1)
    return _Clock(float(rate), float(offset))


def _refuse(cuts: list[Cut], frames: int, recording: Path) -> None:
    faults = [
        Fault(str(cut.path), "an existing file", "a new file", "move it elsewhere first")
        for cut in cuts if cut.path.exists()
    ]  # fmt: skip
    if cuts[-1].last > frames or cuts[0].first < 0:
        faults.append(Fault(str(recording), "a recording shorter than the run", "the whole run"))
    if faults:
        raise UserError("the recording can't be cut", faults)


def _write(cuts: list[Cut], opened: OpenRecording) -> None:
    from soundfile import SoundFile

    subtype, rate = SUBTYPES.get(opened.bits, "PCM_32"), round(opened.rate_hz)
    for cut in cuts:
        cut.path.parent.mkdir(parents=True, exist_ok=True)
        opened.seek(cut.first)
        aside = cut.path.with_name(f"{ASIDE}{cut.path.name}")
        try:
            with SoundFile(aside, "w", rate, opened.tracks, subtype, format="WAV") as file:
                for block in opened.blocks(cut.last - cut.first):
                    file.write(block)
            flush_file(aside)
            rename(aside, cut.path)
        except BaseException:
            aside.unlink(missing_ok=True)
            raise
