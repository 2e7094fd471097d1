"""A part of a capture in time."""

from __future__ import annotations

from dataclasses import replace

from backbench.metrics.declaration import CaptureData
from backbench.signal.side_by_side import recorded_together
from backbench.signal.track import Track


def part_of(capture_data: CaptureData, start_s: float, length_s: float) -> CaptureData:
    """All tracks of a capture between two instants."""

    def of(track: Track) -> Track:
        first = round(start_s * track.rate_hz)
        return replace(track, volts=track.volts[first : first + round(length_s * track.rate_hz)])

    generator = capture_data.generator
    outputs = {n: of(track) for n, track in capture_data.outputs.items()}
    recorded_together(outputs.values())
    return replace(
        capture_data,
        outputs=outputs,
        currents={n: of(track) for n, track in capture_data.currents.items()},
        generator=None if generator is None else of(generator),
    )
