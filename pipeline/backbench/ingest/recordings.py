"""A recording's calibrated tracks, in pieces that are analysed at once in bounded memory."""

from __future__ import annotations

import math
from collections.abc import Iterator

from backbench.documents.settings import InForce
from backbench.documents.stimuli import Steps, Stimulus, Sweep
from backbench.ingest.analysis_plan import Source
from backbench.readers.declaration import OpenRecording
from backbench.readers.file_formats import open_recording, span, too_long
from backbench.signal.track import Array, Track
from backbench.storage.vault import refuse_changed

PIECE_BYTES = 560 * 2**20
"""Memory that the analysis of one piece may take. Of the 1 GiB of a process it leaves room for the
program itself (0.15 GiB), another review's loop-back, and windows kept from other lengths."""
BYTES_A_SAMPLE = {
    "tone": 72, "two tones": 72, "multitone": 45, "idle": 86, "square": 45,
    "steps": 24, "burst": 45, "transport": 34,
}  # fmt: skip
"""What an analysis takes at its peak for each sample of all tracks, two at least, with a loop-back
or reference of the same length where one is used. Measured: tests/bench/long_recording.py."""
SWEEP_BYTES = 36, 46
"""The same for a sweep: always, and for as much of the recording's band as the sweep covers."""
STEPS_S2 = 1200.0
"""Length of a recording of steps times that of a step, s^2: two minutes of steps of 10 s. Steps are
looked for by every length that they may have at every 10 ms, which takes 0.4 GB then."""
STEADY = frozenset({"tone", "two tones", "multitone", "idle", "square"})
"""What is the same all along, so that a long recording may be measured in stretches."""


def pieces(source: Source, stimulus: Stimulus) -> Iterator[dict[int, Track]]:
    """The calibrated tracks by position from 1: the whole recording, or its stretches in turn.

    A steady stimulus that is too long to be analysed at once comes in equal stretches. Those
    cover the recording but for its last few samples, fewer than there are stretches, which are
    only looked at. Raises UserError for a file that can't be used, and for one too long to be
    analysed at once whose stimulus has a course through time.
    """
    assert source.calibration is not None
    refuse_changed(source.path, source.sha256, source.name)
    with open_recording(source.path, source.name) as opened:
        most = most_frames(stimulus, opened.tracks, opened.rate_hz)
        count = math.ceil(opened.frames / most)
        if count > 1 and stimulus.kind not in STEADY:
            limit = span(most / opened.rate_hz)
            whole = f"at most {limit} of the stimulus {stimulus.kind!r}, which is measured whole"
            raise too_long(source.name, opened, whole)
        each = opened.frames // count
        for _ in range(count):
            # Nothing here may hold on to a piece while the next one is read.
            yield _tracks(opened.read(each), opened, source.calibration)
        opened.read(opened.frames)


def most_frames(stimulus: Stimulus, tracks: int, rate_hz: float) -> int:
    """Frames of a recording that are analysed at once."""
    frames = int(PIECE_BYTES / (bytes_a_sample(stimulus, rate_hz) * max(tracks, 2)))
    if isinstance(stimulus, Steps):
        return min(frames, int(STEPS_S2 / stimulus.step_s * rate_hz))
    return frames


def bytes_a_sample(stimulus: Stimulus, rate_hz: float) -> float:
    """What the analysis of such a recording takes at its peak for each sample of all tracks."""
    if isinstance(stimulus, Sweep):
        always, of_band = SWEEP_BYTES
        return always + of_band * min(1.0, 2 * max(stimulus.sweep_hz) / rate_hz)
    return BYTES_A_SAMPLE[stimulus.kind]


def _tracks(samples: Array, opened: OpenRecording, calibration: InForce) -> dict[int, Track]:
    volts = calibration.volts
    return {
        n: Track(
            samples[:, n - 1] * volts[n], opened.rate_hz, volts[n], calibration.relative,
            opened.bits,
        )
        for n in range(1, opened.tracks + 1)
        if n in volts
    }  # fmt: skip
