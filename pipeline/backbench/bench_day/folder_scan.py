"""Every recording of a folder read once and recognised, quickly and in bounded memory."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from backbench.bench_day.classify_stimulus import RecognisedStimulus, Unknown, recognise
from backbench.errors import Fault, UserError
from backbench.readers.file_formats import open_recording
from backbench.signal.track import Array

MOST_SAMPLES = 1 << 20
"""Samples of each track that a stimulus is recognised from: those at the record's beginning."""
MANY_TRACKS = 8
"""With more tracks fewer samples of each are used."""
FULL = 1 - 2.0**-15


@dataclass(frozen=True)
class ScannedFile:
    """What one file holds. recognised: None where it can't be read. rms: by track, full scale 1."""

    file: str
    tracks: int
    recognised: RecognisedStimulus | Unknown | None
    rms: tuple[float, ...] = ()
    clipped: tuple[int, ...] = ()
    fault: Fault | None = None


def scan_files(folder: Path, paths: Sequence[Path]) -> dict[str, ScannedFile]:
    """Every file, by its name within the folder. Reading and transforms run side by side."""
    with ThreadPoolExecutor(max(1, len(os.sched_getaffinity(0)))) as pool:
        items = pool.map(lambda path: _one(folder, path), paths)
        return {item.file: item for item in items}


def _one(folder: Path, path: Path) -> ScannedFile:
    name = path.relative_to(folder).as_posix()
    try:
        with open_recording(path, name) as opened:
            samples = opened.read(MOST_SAMPLES // math.ceil(opened.tracks / MANY_TRACKS))
            for _ in opened.blocks(opened.frames):
                pass  # reading tells of samples that are no numbers, and of a broken end
    except UserError as error:
        return ScannedFile(name, 0, None, fault=error.faults[0])
    sound = recognise(samples, opened.rate_hz, opened.bits)
    centred = samples - samples.mean(axis=0)
    rms = tuple(float(one) for one in np.sqrt(np.mean(np.square(centred), axis=0)))
    return ScannedFile(name, samples.shape[1], sound, rms, _clipped(samples))


def _clipped(samples: Array) -> tuple[int, ...]:
    """Tracks that stand at full scale for two samples running."""
    full = np.abs(samples) >= FULL
    runs = full[1:] & full[:-1]
    return tuple(int(n) + 1 for n in np.flatnonzero(runs.any(axis=0)))
