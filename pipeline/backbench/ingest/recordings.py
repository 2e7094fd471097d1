"""A recording's calibrated tracks, in pieces that are analysed at once in bounded memory."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator

from backbench.documents.settings import InForce
from backbench.documents.stimuli import Stimulus
from backbench.ingest.analysis_plan import Source
from backbench.metrics.warnings import joined
from backbench.readers.declaration import OpenRecording
from backbench.readers.file_formats import open_recording, span, too_long
from backbench.readers.unused_parts import unused_parts
from backbench.signal.track import Track
from backbench.storage.vault import refuse_changed

PIECE_BYTES = 560 * 2**20
"""Memory that the analysis of one piece may take. Of the 1 GiB of a process it leaves room for the
program itself (0.15 GiB), another review's loop-back, and windows kept from other lengths."""


def pieces(
    source: Source, stimulus: Stimulus, used: Collection[int] | None = None
) -> Iterator[dict[int, Track]]:
    """The calibrated tracks by position from 1: the whole recording, or its segments in turn.

    used: the tracks that have a role; every track's remark names the others. None: all of them.

    A steady stimulus that is too long to be analysed at once comes in equal segments. Those
    cover the recording but for its last few samples, fewer than there are segments, which are
    only looked at. Raises UserError for a file that can't be used, and for one too long to be
    analysed at once whose stimulus has a course through time.
    """
    assert source.calibration is not None
    refuse_changed(source.path, source.sha256, source.name)
    with open_recording(source.path, source.name) as opened:
        most = most_frames(stimulus, opened.tracks, opened.rate_hz)
        count = math.ceil(opened.frames / most)
        if count > 1 and not stimulus.steady:
            limit = span(most / opened.rate_hz)
            whole = f"at most {limit} of the stimulus {stimulus.kind!r}, which is measured whole"
            raise too_long(source.name, opened, whole)
        each = opened.frames // count
        remark = joined(opened.remark, _unused(opened.tracks, used))
        for _ in range(count):
            # Nothing here may hold on to a piece while the next one is read.
            yield _tracks(opened, each, source.calibration, remark)
        opened.read(opened.frames)


def most_frames(stimulus: Stimulus, tracks: int, rate_hz: float) -> int:
    """Frames of a recording that are analysed at once."""
    frames = int(PIECE_BYTES / (stimulus.memory(rate_hz) * max(tracks, 2)))
    longest_s = stimulus.longest_s
    return frames if longest_s is None else min(frames, int(longest_s * rate_hz))


def _unused(tracks: int, used: Collection[int] | None) -> str | None:
    """A remark that names the tracks without a role; None where there are none."""
    rest = [] if used is None else [str(n) for n in range(1, tracks + 1) if n not in used]
    return unused_parts("track", rest, "not used here")


def _tracks(
    opened: OpenRecording, frames: int, calibration: InForce, remark: str | None
) -> dict[int, Track]:
    volts = calibration.volts
    full_scale = [volts.get(n, 1.0) for n in range(1, opened.tracks + 1)]
    samples = opened.read(frames, full_scale)
    return {
        n: Track(
            samples[:, n - 1], opened.rate_hz, volts[n], calibration.relative, opened.bits, remark,
        )
        for n in range(1, opened.tracks + 1)
        if n in volts
    }  # fmt: skip
