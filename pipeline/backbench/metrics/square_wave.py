"""Square waves: transitions, aberrations, ringing and tilt, from recordings and from traces."""

from __future__ import annotations

import math
from collections.abc import Callable
from statistics import fmean

import numpy as np

from backbench.errors import NotApplicable, Refusal
from backbench.metrics.declaration import CurveData, MeasuredValue, curve, metric
from backbench.metrics.session_spreads import SLOPE
from backbench.metrics.square_view import SquareView
from backbench.metrics.traits import Traits
from backbench.quantities.writing import in_text
from backbench.signal.edge import CLEAR, LEAST_EXTREME, SETTLED, Edge
from backbench.signal.rise_time import CLEARLY, taken_off
from backbench.signal.transition import cutoff_from_tilt, ringing
from backbench.signal.uncertainty import ONE_SIDED, Contribution, combine

FAMILY = "Square wave"

SQUARES = ["square", "trace table"]
_IEEE = "IEEE 181 (from memory)"
BROAD = 2.5
"""Standard deviations of the noise by which the greatest of many samples lies too high."""
OWN_RINGING = 0.8
"""Ringing above this share of the converter's band is that of its filter."""


def _state(seen: SquareView, value: float) -> MeasuredValue:
    own = math.hypot(seen.open_level, seen.rounded) * seen.amplitude
    total = combine([Contribution(own), Contribution(seen.calibration * abs(value))])
    return MeasuredValue(value, total.u, own, total.dof)


@metric(
    "state_high", title="High state", unit="V", better="neither", source=_IEEE,
    stimuli=SQUARES, version=2,
    choice="mean of the state's later part, or the line or exponential fitted to it where it "
    "tilts, at the edges before and after it; of a trace without the instrument's error of scale",
    traits=Traits(set_by_reviewer=True, has_sign=True),
)  # fmt: skip
def state_high(seen: SquareView) -> MeasuredValue:
    """Level of the wave's upper state at the edge."""
    return _state(seen, seen.mean(lambda edge: edge.high if edge.rising else -edge.low))


@metric(
    "state_low", title="Low state", unit="V", better="neither", source=_IEEE,
    stimuli=SQUARES, version=2,
    choice="mean of the state's later part, or the line or exponential fitted to it where it "
    "tilts, at the edges before and after it; of a trace without the instrument's error of scale",
    traits=Traits(set_by_reviewer=True, has_sign=True),
)  # fmt: skip
def state_low(seen: SquareView) -> MeasuredValue:
    """Level of the wave's lower state at the edge."""
    return _state(seen, seen.mean(lambda edge: edge.low if edge.rising else -edge.high))


def _transition(seen: SquareView, *, rising: bool) -> MeasuredValue:
    edges = [edge for edge in seen.edges if edge.rising == rising]
    if not edges:
        raise NotApplicable(f"no {'upward' if rising else 'downward'} edge with its states")
    measured = fmean(edge.duration for edge in edges)
    step = 0.0 if seen.converter_s else max(edge.step for edge in edges)
    sampling = step / math.sqrt(12) * math.sqrt(2 / len(edges))
    # Levels shift both crossings of every edge together; noise those of each by itself.
    shared = math.hypot(seen.open_level, seen.rounded)
    level = fmean(edge.duration_within(shared) for edge in edges)
    noise = fmean(edge.duration_within(seen.share) for edge in edges) / math.sqrt(len(edges))
    own = math.hypot(sampling, level, noise)
    rise = taken_off(measured, own, seen.own, seen.converter_s, step)
    return MeasuredValue(rise.value, rise.u, rise.u, bound="upper" if rise.bounded else None)


_RISE = (
    "10 % to 90 % of the amplitude; the rise times of the generator (stated, or from its track) "
    "and of a probe taken off in quadrature; an upper bound where one of them is unknown, or the "
    "edge is less than twice as slow as they are, as the converter, or as two samples of a trace"
)


@metric(
    "rise_time", title="Rise time", unit="s", better="lower", source=_IEEE,
    stimuli=SQUARES, version=2, choice=_RISE,
)  # fmt: skip
def rise_time(seen: SquareView) -> MeasuredValue:
    """Time from 10 % to 90 % of an upward transition."""
    return _transition(seen, rising=True)


@metric(
    "fall_time", title="Fall time", unit="s", better="lower", source=_IEEE,
    stimuli=SQUARES, version=2, choice=_RISE,
)  # fmt: skip
def fall_time(seen: SquareView) -> MeasuredValue:
    """Time from 90 % to 10 % of a downward transition."""
    return _transition(seen, rising=False)


def _aberration(seen: SquareView, of: Callable[[Edge], float]) -> MeasuredValue:
    """The greater over the edges in percent; a bound where noise or the converter make it."""
    directions = {edge.rising for edge in seen.edges}
    value = max(seen.mean(of, rising=direction) for direction in directions)
    missed = (seen.ripple + seen.missed() * value) / math.sqrt(3)
    least = seen.ripple + seen.noise_at_most() * seen.share + seen.open_level
    if value <= least:
        return MeasuredValue(100 * (value + least), 0.0, bound="upper")
    # The noise at a broad turn is read with it, at its greatest.
    noise = BROAD * seen.share
    own = 100 * math.hypot(missed, noise, seen.open_level)
    return MeasuredValue(100 * value, own, own)


_BEYOND = (
    "greater of both edges, within the state that follows; re the level that the state's later "
    "part leads back to; of a recording widened by what its converter's filter rings"
)


@metric(
    "overshoot", title="Overshoot", unit="%", better="lower", source=_IEEE,
    stimuli=SQUARES, version=3, choice=_BEYOND,
)  # fmt: skip
def overshoot(seen: SquareView) -> MeasuredValue:
    """Greatest excursion beyond the new state after a transition, of the amplitude."""
    return _aberration(seen, lambda edge: edge.overshoot)


@metric(
    "undershoot", title="Undershoot", unit="%", better="lower", source=_IEEE,
    stimuli=SQUARES, version=3, choice=_BEYOND,
)  # fmt: skip
def undershoot(seen: SquareView) -> MeasuredValue:
    """Greatest excursion back below the new state once it was reached, of the amplitude."""
    return _aberration(seen, lambda edge: edge.undershoot)


@metric(
    "preshoot", title="Preshoot", unit="%", better="lower", source=_IEEE,
    stimuli=SQUARES, version=3,
    choice="greater of both edges, within half the state before; an upper bound of a recording, "
    "whose converter's filter rings there, and where ringing of the edge before may last so long",
)  # fmt: skip
def preshoot(seen: SquareView) -> MeasuredValue:
    """Greatest excursion away from a transition before it, of the amplitude."""
    value = max(edge.preshoot for edge in seen.edges)
    least = seen.noise_at_most() * seen.share + seen.open_level
    unsettled = any(edge.tilted is None for edge in seen.edges)
    if seen.converter_s or unsettled or value <= least:
        return MeasuredValue(100 * (value + least), 0.0, bound="upper")
    own = 100 * math.hypot(math.sqrt(2) * seen.share, seen.open_level)
    return MeasuredValue(100 * value, own, own)


@metric(
    "settling_time", title="Settling time", unit="s", better="lower", source=_IEEE,
    stimuli=SQUARES, version=2,
    choice="to within 2 % of the amplitude, from the 50 % instant, of the course averaged over an "
    "eighth of the edge's duration; the longer of both edges; an upper bound of an edge that a "
    "trace holds less than two samples of",
)  # fmt: skip
def settling_time(seen: SquareView) -> MeasuredValue:
    """Time from half-way to the last entry into the band about the new state."""
    slowest = max(seen.edges, key=lambda edge: edge.settling())
    noise = CLEAR * seen.noise / seen.amplitude / math.sqrt(slowest.smoothing)
    reach = (seen.ripple + seen.rounded) / math.sqrt(3) + seen.open_level
    if 2 * noise + reach > SETTLED:
        raise Refusal(
            "the noise or the unsettled states are as wide as the band to settle into; play it "
            "louder, or at a lower frequency"
        )
    return _settled(seen, slowest, noise, reach)


def _settled(seen: SquareView, slowest: Edge, noise: float, reach: float) -> MeasuredValue:
    """Settling time of the slowest edge. noise, reach: how far noise, and all else, may move what
    the band is held against, of the amplitude."""
    settled_s = slowest.settling()
    if not math.isfinite(settled_s):
        return MeasuredValue(slowest.until_s, 0.0, bound="lower")
    if seen.ripple > SETTLED:
        return MeasuredValue(settled_s + seen.converter_s, 0.0, bound="upper")
    step = slowest.step_at(settled_s)
    if not seen.converter_s and settled_s < CLEARLY * step:
        return MeasuredValue(settled_s + step, 0.0, bound="upper")
    # Noise makes the last sample outside the band later, never earlier.
    first, last = (
        max(edge.settling(SETTLED + by) for edge in seen.edges) for by in (noise + reach, -reach)
    )
    if not math.isfinite(last):
        return MeasuredValue(first, 0.0, bound="lower")
    own = math.hypot((last - first) / 2 / math.sqrt(3), step / math.sqrt(12))
    return MeasuredValue((first + last) / 2, own, own)


def _ringing(seen: SquareView) -> tuple[list[tuple[float, float]], float]:
    """Frequency and damping of each edge that rings, and the noise of their turns: of the weakest,
    relative, over the number of turns beyond the first."""
    decays, relative = [], 0.0
    noise = seen.noise + (seen.ripple / math.sqrt(3) + seen.open_level) * seen.amplitude
    for edge in seen.edges:
        least = max(LEAST_EXTREME, 2 * seen.ripple, 2 * CLEAR * seen.share) * edge.amplitude
        turns = edge.extremes(least)
        read = ringing(turns)
        if read is not None:
            decays.append(read)
            relative = max(relative, noise / abs(turns[-1].volts) / (len(turns) - 1))
    if not decays:
        raise NotApplicable("no ringing: less than two turns stand out after the edges")
    hz = float(np.mean([f for f, _ in decays]))
    if hz > OWN_RINGING * seen.band_hz:
        raise NotApplicable(
            f"the ringing found, at {in_text(hz, 'Hz', 4)}, is that of the converter's filter"
        )
    return decays, relative


@metric(
    "ringing_frequency", title="Ringing frequency", unit="Hz", better="neither",
    source="common practice, no source: closed form of a second-order step",
    stimuli=SQUARES, version=2,
    choice="from the mean distance of the turns after an edge: the damped frequency",
)  # fmt: skip
def ringing_frequency(seen: SquareView) -> MeasuredValue:
    """Frequency of the damped oscillation after a transition."""
    decays, relative = _ringing(seen)
    hz = float(np.mean([f for f, _ in decays]))
    # Near its turn a cosine leaves the noise's share r of its height within sqrt(r) of a radian.
    relative += seen.missed()
    own = hz * math.hypot(math.sqrt(2 * relative) / math.pi, seen.edge_step * hz)
    own = math.hypot(own, float(np.std([f for f, _ in decays])))
    return MeasuredValue(hz, own, own)


@metric(
    "ringing_damping", title="Ringing, damping ratio", unit="1", better="higher",
    source="common practice, no source: closed form of a second-order step",
    stimuli=SQUARES, version=2,
    choice="from the logarithmic decrement of the turns after an edge",
)  # fmt: skip
def ringing_damping(seen: SquareView) -> MeasuredValue:
    """Damping ratio of the oscillation after a transition: 0 rings for ever, 1 doesn't."""
    decays, relative = _ringing(seen)
    zeta = float(np.mean([z for _, z in decays]))
    own = relative * (1 - zeta**2) ** 1.5 / math.pi
    own = math.hypot(own, float(np.std([z for _, z in decays])))
    return MeasuredValue(zeta, own, own)


def _tilt(seen: SquareView) -> tuple[float, float]:
    """Tilt of half the amplitude, and its standard uncertainty."""
    half = seen.amplitude / 2
    falls = [edge.tilted for edge in seen.edges if edge.tilted is not None]
    if not falls:
        raise NotApplicable(
            "the states are too short beside the edges to tell tilt from ringing; "
            "take a square wave of lower frequency"
        )
    value = float(np.mean(falls)) / half
    # A fit carried to both ends of the state: what doesn't fit counts at each in full.
    still = 2 * seen.open_level * seen.amplitude
    noise = max(edge.open_fall for edge in seen.edges) / math.sqrt(len(falls))
    return value, math.hypot(still, noise, seen.rounded * seen.amplitude) / half


@metric(
    "tilt", title="Tilt", unit="%", better="nearer zero", source=_IEEE,
    stimuli=SQUARES, version=3,
    choice="first less last value of a state re the mean of both, from the part after 30 % of it, "
    "by a line or, where it tilts clearly, an exponential; "
    "an upper bound where it can't be distinguished from zero", traits=Traits(session_spread=SLOPE),
)  # fmt: skip
def tilt(seen: SquareView) -> MeasuredValue:
    """Fall of the wave's tops within a state, of their mean."""
    value, u = _tilt(seen)
    if abs(value) < 2 * u:
        return MeasuredValue(100 * (abs(value) + ONE_SIDED * u), 0.0, bound="upper")
    return MeasuredValue(100 * value, 100 * u, 100 * u)


@metric(
    "tilt_low_cutoff", title="Low cut-off from tilt", unit="Hz", better="lower",
    source="common practice, no source: tilt = 2 tanh(pi fc / 2 f) of one first-order high-pass",
    stimuli=SQUARES, version=3,
    choice="as if one first-order high-pass made the tilt",
)  # fmt: skip
def tilt_low_cutoff(seen: SquareView) -> MeasuredValue:
    """Corner of the first-order high-pass that would give the tilt."""
    value, u = _tilt(seen)
    if value < -2 * u:
        raise NotApplicable("the tops rise: no high-pass does that")
    if value + ONE_SIDED * u >= 2:
        raise Refusal("the tops may fall through the middle: not a first-order high-pass")
    if abs(value) < 2 * u:
        return MeasuredValue(
            cutoff_from_tilt(abs(value) + ONE_SIDED * u, seen.frequency_hz), 0.0, bound="upper"
        )
    hz = cutoff_from_tilt(value, seen.frequency_hz)
    own = 2 * seen.frequency_hz / math.pi * u / 2 / (1 - value**2 / 4)
    return MeasuredValue(hz, own, own)


@metric(
    "slew_rate", title="Slew rate", unit="V/s", better="higher",
    source="common practice, no source: mean slope from 10 % to 90 %",
    stimuli=SQUARES, version=3,
    choice="the steeper of both edges; the unit slews at least so fast, so a lower bound",
)  # fmt: skip
def slew_rate(seen: SquareView) -> MeasuredValue:
    """Steepest mean slope from 10 % to 90 % of a transition."""
    # No straight line between two instants of a wave is steeper than the wave is somewhere.
    least = 0.8 - ONE_SIDED * math.sqrt(2) * seen.share
    if least <= 0:
        raise Refusal("the noise is as high as the edges")
    slope = max(least * edge.amplitude / edge.duration for edge in seen.edges)
    return MeasuredValue(slope, slope * seen.calibration, bound="lower")


@curve(
    "waveform", title="Square wave", x_unit="s", y_unit="V", stimuli=SQUARES, version=1
)  # fmt: skip
def waveform(seen: SquareView) -> CurveData:
    """One period with the upward transition at a quarter of it, thinned evenly."""
    return _aligned(seen)


POINTS = 1024


def _aligned(seen: SquareView) -> CurveData:
    period = 1 / seen.frequency_hz
    if seen.converter_s:
        shifted = np.roll(seen.volts, len(seen.volts) // 4)
        thin = len(shifted) // POINTS
        return CurveData(seen.time_s[::thin] - period / 4, shifted[::thin])
    middle = next((edge for edge in seen.edges if edge.rising), None)
    at = middle.middle_s if middle else float(seen.time_s[0]) + period / 4
    chosen = (seen.time_s >= at - period / 4) & (seen.time_s <= at + 3 * period / 4)
    thin = max(1, int(np.count_nonzero(chosen)) // POINTS)
    return CurveData(seen.time_s[chosen][::thin] - at, seen.volts[chosen][::thin])
