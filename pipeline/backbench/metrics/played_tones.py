"""Tones that a disc player or converter plays itself: what is beside them, images and jitter."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial

import numpy as np

from backbench.documents.stimuli import Tone
from backbench.errors import NotApplicable
from backbench.metrics.declaration import MeasuredValue, metric
from backbench.metrics.distortion import refuse_mirrored
from backbench.metrics.sample_steps import STEPS_CHOICE, steps_off
from backbench.metrics.tone import ToneView
from backbench.metrics.traits import Traits
from backbench.quantities.writing import in_text
from backbench.signal.itu_468 import TWO_KHZ, weighting_468
from backbench.signal.power import MeanSquare
from backbench.signal.tone import BAND_HZ
from backbench.signal.tone_companions import SidebandPair, line_at, sideband_pair
from backbench.signal.track import Array
from backbench.signal.uncertainty import DB_PER_RELATIVE, ONE_SIDED, Contribution, combine
from backbench.signal.weighting import a_weighting

FAMILY = "Converters and disc players"

LEAST_JITTER_HZ = 5000.0
"""A lower tone shows too little of a wandering clock (common practice, no source)."""
BAND_END = 0.45
"""Share of the sample rate up to which images are read: a recorder's own filter begins there."""


def _unweighted(hz: Array) -> Array:
    return np.ones_like(hz)


def _a(hz: Array) -> Array:
    return np.asarray(a_weighting(hz) ** 2)


def _ccir_rms(hz: Array) -> Array:
    return np.asarray((weighting_468(hz) / TWO_KHZ) ** 2)


WEIGHTINGS = {"none": _unweighted, "A": _a, "CCIR-RMS": _ccir_rms}


def _played(tone: ToneView) -> Tone:
    stimulus = tone.capture_data.stimulus
    assert isinstance(stimulus, Tone)
    return stimulus


@metric(
    "played_residual",
    title="Noise and distortion beside a played tone",
    unit="V",
    better="lower",
    source="AES17, 6.4.1 (second-hand: an open library's documentation)",
    stimuli=["tone"],
    version=1,
    choice="rms of all but the fundamental, 20 Hz to 20 kHz, unweighted, A-weighted and CCIR-RMS "
    "(detail tells which), of tones stated re full scale; the recorder's own included"
    + STEPS_CHOICE,
    traits=Traits(only_with="played source"),
)
def played_residual(tone: ToneView) -> Iterator[MeasuredValue]:
    """What stands beside a tone that the unit plays from a file or disc."""
    if _played(tone).full_scale_db is None or not tone.driven:
        return
    refuse_mirrored(tone)
    for name, power in WEIGHTINGS.items():
        left = tone.lines.filtered(partial(_at_squares, power, tone.lines.frequency_hz))
        own = left.relative * left.rms
        parts = [Contribution(own, left.samples), Contribution(left.rms * tone.track.calibration)]
        total = combine(parts)
        figure = MeasuredValue(left.rms, total.u, own, total.dof, detail={"weighting": name})
        weight = math.sqrt(float(np.mean(power(np.linspace(*BAND_HZ, 2000)))))
        yield steps_off(figure, tone.lines, weight, BAND_HZ[1])


def _at_squares(power: Callable[[Array], Array], hz: float, squares: Array) -> Array:
    """A power factor at squares of frequencies re one of them."""
    return power(hz * np.sqrt(squares))


@metric(
    "sampling_image",
    title="Image above half the sample rate",
    unit="dB",
    better="lower",
    source="common practice, no source: sampled at fs, a tone f has images at n fs +/- f",
    stimuli=["tone"],
    version=1,
    choice="the strongest of the images of a tone whose file_rate_hz is stated, re the tone; as "
    "far as 0.45 of the recorder's own rate; images on a harmonic of the tone are left out",
    traits=Traits(only_with="played source"),
)
def sampling_image(tone: ToneView) -> Iterator[MeasuredValue]:
    """Level of the strongest image of a played tone, re the tone."""
    rate = _played(tone).file_rate_hz
    if rate is None or not tone.driven:
        return
    lines = tone.lines
    end = BAND_END * lines.spectrum.rate_hz
    clock = lines.frequency_hz / tone.stated_hz
    places = [n * rate * clock + sign * lines.frequency_hz for n in (1, 2, 3) for sign in (-1, 1)]
    df = lines.spectrum.resolution_hz
    clear = (lines.apart(np.array(places) / df) > 2 * lines.half).tolist()
    seen = [hz for hz, alone in zip(places, clear, strict=True) if alone and hz < end]
    if not seen:
        raise NotApplicable(
            f"the record reads up to {in_text(end, 'Hz')}; the first image is at "
            f"{in_text(places[0], 'Hz', 5)}, or lies on a harmonic of the tone"
        )
    squares = {hz: line_at(lines, hz / df) for hz in seen}
    yield _strongest(squares, tone.square)


def _strongest(squares: dict[float, MeanSquare], whole: MeanSquare) -> MeasuredValue:
    hz, square = max(squares.items(), key=lambda item: item[1].value)
    if not square.surely_stands_out:
        most = max(one.at_most for one in squares.values())
        return MeasuredValue(20 * math.log10(most / whole.rms), 0.0, bound="upper")
    own = DB_PER_RELATIVE * math.hypot(square.relative, whole.relative)
    value = 20 * math.log10(square.rms / whole.rms)
    remark = f"at {in_text(hz, 'Hz', 5)}"
    return MeasuredValue(value, own, own, square.samples, remark=remark)


def _pair_of(tone: ToneView) -> SidebandPair | None:
    """Sidebands of a played tone; None of one that wasn't, or whose file isn't stated."""
    if _played(tone).file_rate_hz is None or not tone.driven:
        return None
    if tone.stated_hz < LEAST_JITTER_HZ:
        least = in_text(LEAST_JITTER_HZ, "Hz")
        raise NotApplicable(
            f"jitter is read beside tones from {least} on, usually a quarter of the sample rate"
        )
    return sideband_pair(tone.lines)


@metric(
    "sideband_pair",
    title="Strongest pair of sidebands",
    unit="dB",
    better="lower",
    source="common practice, no source: a tone at a quarter of the sample rate shows its clock",
    stimuli=["tone"],
    version=1,
    choice="root sum square of two lines at equal distances of up to 5 kHz re the tone, of tones "
    "of 5 kHz or more whose file_rate_hz is stated; the recorder's own included",
    traits=Traits(only_with="played source"),
)
def sideband_pair_level(tone: ToneView) -> Iterator[MeasuredValue]:
    """Level of the strongest pair of lines beside a played tone, re the tone."""
    pair = _pair_of(tone)
    if pair is None:
        return
    value = 20 * math.log10(pair.ratio)
    if pair.away_hz == 0:
        yield MeasuredValue(value, 0.0, bound="upper")
        return
    own = DB_PER_RELATIVE * pair.u / pair.ratio
    yield MeasuredValue(value, own, own, remark=_kind(pair))


def _kind(pair: SidebandPair) -> str:
    place = f"at {in_text(pair.away_hz, 'Hz', 4)} from the tone"
    return f"{place}, mostly of its amplitude" if pair.amplitude > pair.phase else place


@metric(
    "sampling_jitter",
    title="Sampling jitter of one frequency",
    unit="s",
    better="lower",
    source="common practice, no source: phase modulation of a sine by its own frequency",
    stimuli=["tone"],
    version=2,
    choice="peak to peak, of the part of the strongest pair of sidebands that modulates the tone's "
    "phase: 2 a / (pi f) for lines of amplitude a re the tone; the recorder's own included",
    traits=Traits(only_with="played source"),
)
def sampling_jitter(tone: ToneView) -> Iterator[MeasuredValue]:
    """How far the instants of the samples swing at the frequency of the strongest sidebands."""
    pair = _pair_of(tone)
    if pair is None:
        return
    per_ratio = 2 / (math.pi * tone.lines.frequency_hz)
    figure = MeasuredValue(per_ratio * pair.phase, per_ratio * pair.u, per_ratio * pair.u)
    if pair.away_hz == 0 or pair.phase < 2 * pair.u:
        most = pair.phase if pair.away_hz == 0 else pair.phase + ONE_SIDED * pair.u
        yield MeasuredValue(per_ratio * most, 0.0, bound="upper")
        return
    yield replace(figure, remark=_kind(pair))
