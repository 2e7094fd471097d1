"""Dynamic intermodulation: a sine beside a square wave, whose edges ask for a high slew rate."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from backbench.documents.stimuli import SquareAndSine
from backbench.errors import Refusal
from backbench.metrics.bench_floor import LINE_CHOICE
from backbench.metrics.bench_levels import less_lines_at_level, loop_back_views
from backbench.metrics.declaration import CaptureData, MeasuredValue, metric, view
from backbench.metrics.traits import Traits
from backbench.metrics.two_tones import percent
from backbench.quantities.writing import in_text
from backbench.signal.intermodulation import find_tones
from backbench.signal.line_ratios import of_powers
from backbench.signal.tone_set import ToneSet, summed
from backbench.signal.track import Track

FAMILY = "Intermodulation and multitone"

ORDERS = range(1, 10)
"""Multiples of the square wave whose difference from the sine is one of the nine products."""
TOP_HZ = 20_000.0
CAPTURED_AT = ("square-and-sine",)


@dataclass(frozen=True, eq=False)
class SquareAndSineView:
    """One output's track: the square wave's fundamental and the sine as a pair of tones."""

    capture_data: CaptureData
    track: Track
    tone_set: ToneSet

    @cached_property
    def benches(self) -> list[SquareAndSineView]:
        """The bench's own on the same track, at every level that there is a fit loop-back of."""
        return loop_back_views(square_and_sine, self.capture_data, self.track)

    @property
    def level_v(self) -> float:
        """Rms of the square wave's fundamental and the sine, V."""
        return self.tone_set.together.rms

    def places(self) -> list[float]:
        """Where the products k f1 - f2 of 20 Hz to 20 kHz fall, bins."""
        square, sine = self.tone_set.positions.tolist()
        top = TOP_HZ / self.tone_set.spectrum.resolution_hz
        return [place for k in ORDERS if (place := abs(k * square - sine)) <= top]


@view("square and sine", version=2)
def square_and_sine(capture_data: CaptureData, number: int) -> SquareAndSineView:
    """The sine and the square wave in output track `number`. Raises Refusal without them."""
    stimulus, track = capture_data.stimulus, capture_data.outputs[number]
    assert isinstance(stimulus, SquareAndSine)
    if capture_data.driven_track not in (None, number):
        raise Refusal("this output was not driven in this capture")
    pair = stimulus.square_and_sine_hz
    tones = find_tones(track, pair, _apart(*pair), capture_data.mains_hz)
    return SquareAndSineView(capture_data, track, tones)


def _apart(square_hz: float, sine_hz: float) -> float:
    """Distance of the nearest two of products, harmonics of the square wave and the sine, Hz."""
    products = [abs(k * square_hz - sine_hz) for k in ORDERS]
    harmonics = [k * square_hz for k in range(1, ORDERS.stop, 2)]
    lines = sorted([0.0, sine_hz, *products, *harmonics])
    least = min(b - a for a, b in itertools.pairwise(lines))
    if least < 1.0:
        raise Refusal(
            f"a product falls on another line: play {in_text(3150.0, 'Hz')} and "
            f"{in_text(15_000.0, 'Hz')}"
        )
    return least


@metric(
    "dynamic_intermodulation",
    title="Dynamic intermodulation (DIM)",
    unit="%",
    better="lower",
    source="IEC 60268-3:2013, 14.12.9 (second-hand: read in an open library's documentation)",
    stimuli=["square and sine"],
    version=1,
    choice="root sum square of the nine products k f1 - f2, k 1 to 9, within 20 kHz re the sine "
    "f2; square wave and sine 4:1 in peak; low-pass of the square wave as stated (detail tells "
    "it); edges only as steep as the generator's sample rate makes them" + LINE_CHOICE,
    traits=Traits(
        compared_at=CAPTURED_AT,
        position=105,
        bench_distortion=True,
        given_by="a low-passed square wave of 3.15 kHz with a sine of 15 kHz",
    ),
)
def dynamic_intermodulation(seen: SquareAndSineView) -> MeasuredValue:
    """Root sum square of the products of a square wave and a sine over the sine."""
    stimulus = seen.capture_data.stimulus
    assert isinstance(stimulus, SquareAndSine)
    places = seen.places()
    beyond = [place for place in places if not seen.tone_set.covers(place)]
    if beyond:
        hz = max(beyond) * seen.tone_set.spectrum.resolution_hz
        raise Refusal(f"the product at {in_text(hz, 'Hz', 5)} is outside the band of the record")
    figure = less_lines_at_level(seen, _products)
    detail = {"low-pass": in_text(stimulus.low_pass_hz, "Hz")}
    return MeasuredValue(
        figure.value, figure.uncertainty, figure.estimation, figure.dof, figure.bound,
        detail=detail, remark=figure.remark,
    )  # fmt: skip


def _products(seen: SquareAndSineView) -> MeasuredValue:
    lines = seen.tone_set.lines(np.array(seen.places()))
    return percent(of_powers(summed(lines), seen.tone_set.tones[1:]))
