"""How a square wave looks to its metrics: edges, and what limits the knowledge of them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import fmean

import numpy as np

from backbench.documents.stimuli import SquareWave, Table
from backbench.errors import Refusal
from backbench.metrics.declaration import CaptureData, view
from backbench.metrics.trace_samples import trace_of
from backbench.quantities.writing import in_text
from backbench.signal.edge import CLEAR, Edge
from backbench.signal.edge_detection import edges_of_period, edges_of_trace
from backbench.signal.kept_property import kept_property
from backbench.signal.quantisation_step import quantisation_step, rounding
from backbench.signal.rise_time import BRICK_WALL, CLEARLY, CORNER, ChainRiseTime, chained
from backbench.signal.tone import PASS_BAND
from backbench.signal.track import Array
from backbench.signal.waveform_period import one_period

NEVER_SLOWER = 1.05
"""An edge less slow than this times the converter's own tells nothing."""


@dataclass(frozen=True, eq=False)
class SquareView:
    """A square wave's edges with what limits the knowledge of them.

    time_s, volts: one period, or the whole trace. step_s: usual distance of the samples. noise:
    standard deviation of a value of the wave, V. quantum: step that its values are rounded to, V,
    0 where there is none. own: rise time of generator and probe, None
    where one is unknown. converter_s: own rise time of the audio converter, 0 for a trace.
    band_hz: end of its band. calibration: relative standard uncertainty of the volts.
    """

    time_s: Array
    volts: Array
    frequency_hz: float
    edges: Sequence[Edge]
    step_s: float
    noise: float
    quantum: float
    own: ChainRiseTime | None
    converter_s: float
    band_hz: float
    calibration: float

    @kept_property
    def amplitude(self) -> float:
        """Mean over the edges, V."""
        return self.mean(lambda edge: edge.amplitude)

    def mean(self, of: Callable[[Edge], float], *, rising: bool | None = None) -> float:
        """Mean of a quantity over all edges, or those of one direction."""
        return fmean(of(edge) for edge in self.edges if rising in (None, edge.rising))

    @property
    def share(self) -> float:
        """Noise and rounding of a value of the wave re its amplitude."""
        return math.hypot(self.noise, rounding(self.quantum)) / self.amplitude

    @property
    def rounded(self) -> float:
        """Standard uncertainty that rounding leaves a level of the wave, re its amplitude."""
        return rounding(self.quantum) / self.amplitude

    def noise_at_most(self) -> float:
        """Standard deviations that the greatest of all values between the edges stays below.

        Of normal noise, in all but one trace of ten thousand (from the tail of the distribution
        times the number of values, as Bonferroni has it; from memory). A recording's period is a
        mean of many, and what it shows before a step is a bound in any case.
        """
        if self.converter_s:
            return CLEAR
        from scipy.special import ndtri

        return max(CLEAR, -float(ndtri(1e-4 / len(self.volts))))

    @kept_property
    def edge_step(self) -> float:
        """Greatest distance of the samples at an edge, s."""
        return max(edge.step for edge in self.edges)

    @kept_property
    def open_level(self) -> float:
        """What ringing, tilt and noise leave open of the state levels, re the amplitude."""
        worst = max(edge.misfit**2 - edge.noise**2 for edge in self.edges)
        level = max(edge.open_level for edge in self.edges)
        return math.hypot(math.sqrt(max(worst, 0.0)), level) / self.amplitude

    @kept_property
    def duration(self) -> float:
        """Mean of the edges' 10 % to 90 %, s."""
        return self.mean(lambda edge: edge.duration)

    def missed(self) -> float:
        """Share of a turn's height that may lie between two samples of a trace.

        Raises Refusal where an edge holds too few samples to tell anything of it.
        """
        if self.converter_s:
            return 0.0
        if self.duration < CLEARLY * self.edge_step:
            raise Refusal("an edge holds less than two samples; record with a finer time base")
        return (math.pi * CORNER * self.edge_step / self.duration) ** 2 / 2

    @kept_property
    def ripple(self) -> float:
        """What the converter's filter adds to aberrations, re the amplitude.

        A filter with linear phase rings before a step as much as after it, and an amplifier
        does nothing before: what is found there is taken as the filter's.
        """
        return max(edge.preshoot for edge in self.edges) if self.converter_s else 0.0


@view("square", version=6)
def square_view(capture_data: CaptureData, number: int) -> SquareView:
    """The mean period of output track `number`. Raises Refusal where it holds no square wave."""
    stimulus, track = capture_data.stimulus, capture_data.outputs[number]
    assert isinstance(stimulus, SquareWave)
    if capture_data.driven_track not in (None, number):
        raise Refusal("this output was not driven in this capture")
    period = one_period(track, stimulus.square_hz, capture_data.mains_hz)
    edges = edges_of_period(period.time_s, period.volts)
    converter = BRICK_WALL / (PASS_BAND * track.rate_hz)
    square = SquareView(
        time_s=period.time_s, volts=period.volts, frequency_hz=period.frequency_hz, edges=edges,
        step_s=1 / (period.frequency_hz * len(period.volts)), noise=period.noise, quantum=0.0,
        own=chained(_generator(capture_data, stimulus, converter), 0.0), converter_s=converter,
        band_hz=PASS_BAND * track.rate_hz, calibration=track.calibration,
    )  # fmt: skip
    if square.duration < NEVER_SLOWER * converter:
        raise Refusal(
            f"the edges are as fast as a converter at {in_text(track.rate_hz, 'Hz', 6)} can record "
            f"({in_text(converter, 's', 2)}); record at a higher rate"
        )
    return square


def _generator(
    capture_data: CaptureData, stimulus: SquareWave, converter: float
) -> ChainRiseTime | None:
    """Rise time of the generator as stated, or as its own track shows it."""
    if stimulus.rise_time_s is not None:
        return ChainRiseTime(stimulus.rise_time_s, stimulus.rise_time_s)
    if capture_data.generator is None:
        return None
    period = one_period(capture_data.generator, stimulus.square_hz, capture_data.mains_hz)
    edges = edges_of_period(period.time_s, period.volts)
    seen = float(np.mean([edge.duration for edge in edges]))
    return ChainRiseTime(0.0 if seen < 2 * converter else seen, seen)


@view("trace table", version=3)
def trace_view(capture_data: CaptureData, number: int) -> SquareView:
    """An oscilloscope's trace. Raises Refusal where it holds no whole step of a square wave."""
    stimulus = capture_data.stimulus
    assert isinstance(stimulus, Table)
    if stimulus.square_hz is None:
        raise Refusal("the frequency of the square wave was not stated")
    time, volts = trace_of(capture_data, "voltage")
    edges = edges_of_trace(time, volts, 0.5 / stimulus.square_hz)
    generator = stimulus.rise_time_s
    own = chained(
        ChainRiseTime(generator, generator) if generator else None, stimulus.probe_rise_time_s
    )
    step = float(np.median(np.diff(time)))
    noise = float(np.mean([edge.noise for edge in edges]))
    return SquareView(
        time_s=time,
        volts=volts,
        frequency_hz=stimulus.square_hz,
        edges=edges,
        step_s=step,
        noise=noise,
        quantum=quantisation_step(volts),
        own=own,
        converter_s=0.0,
        band_hz=0.5 / step,
        calibration=0.0,
    )
