"""One long recording cut into its captures at the markers."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from backbench.bench_day.markers import find_markers
from backbench.bench_day.runs import Run
from backbench.errors import Fault, UserError
from backbench.readers.declare import Recording
from backbench.readers.find import read_recording
from backbench.signal.track import Array

WITHIN_S = 0.02
"""How far a marker may lie from where the layout puts it: two clocks 100 ppm apart for 200 s."""
SUBTYPES = {16: "PCM_16", 24: "PCM_24", None: "FLOAT"}


@dataclass(frozen=True)
class Cut:
    """A capture cut out: its file and the samples that it keeps, from and to."""

    path: Path
    first: int
    last: int


def cut_run(recording: Path, run: Run, into: Path, *, dry: bool = False) -> list[Cut]:
    """Write each capture of a run as a file of its own; existing files are never overwritten.

    Raises UserError where a marker is missing, the recording breaks off, or a file is there.
    """
    found = read_recording(recording)
    centred = found.samples - found.samples.mean(axis=0)
    strongest = int(np.argmax(np.square(centred).sum(axis=0)))
    times = _fitted(np.ascontiguousarray(centred[:, strongest]), found.rate_hz, run, recording)
    cuts = [
        Cut(into / one.file, round(times(one.from_s) * found.rate_hz),
            round(times(one.to_s) * found.rate_hz))
        for one in run.segment
    ]  # fmt: skip
    _refuse(cuts, found, recording)
    if not dry:
        _write(cuts, found)
    return cuts


class _Clock:
    """From seconds of the layout to seconds of the recording."""

    def __init__(self, rate: float, offset: float) -> None:
        self.rate, self.offset = rate, offset

    def __call__(self, seconds: float) -> float:
        return self.offset + self.rate * seconds


def _fitted(samples: Array, rate_hz: float, run: Run, recording: Path) -> _Clock:
    """The start and speed at which all markers of the layout are met."""
    heard = find_markers(samples, rate_hz)
    expected = np.array(run.markers)
    best = np.zeros(len(expected), dtype=bool)
    for start in heard:
        at = start - expected[0] + expected
        nearest = heard[np.argmin(np.abs(heard[:, None] - at), axis=0)]
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


def _refuse(cuts: list[Cut], found: Recording, recording: Path) -> None:
    faults = [
        Fault(str(cut.path), "a file that is there", "a new file", "move it away first")
        for cut in cuts if cut.path.exists()
    ]  # fmt: skip
    if cuts[-1].last > len(found.samples) or cuts[0].first < 0:
        faults.append(Fault(str(recording), "a recording that breaks off", "the whole run"))
    if faults:
        raise UserError("the recording can't be cut", faults)


def _write(cuts: list[Cut], found: Recording) -> None:
    import soundfile

    for cut in cuts:
        cut.path.parent.mkdir(parents=True, exist_ok=True)
        part = found.samples[cut.first : cut.last]
        subtype = SUBTYPES.get(found.bits, "PCM_32")
        soundfile.write(cut.path, part, round(found.rate_hz), subtype=subtype, format="WAV")
