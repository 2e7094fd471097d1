"""What was measured and how: a unit's lines and noise through a recorder, with what may go wrong.

Truth is kept apart from what is recorded: faults of the unit change both, faults of the bench
only the record.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from bench.adversary_units import Array, Line, Noise

PASS_BAND = 0.45
Waveform = Callable[[Array, np.random.Generator], Array]
OfTime = Callable[[Array], Array]
OnSamples = Callable[[Array, float, np.random.Generator], Array]


@dataclass
class Scene:
    """One capture to be rendered.

    lines: of the driven waveform, fundamentals first. hum: mains lines. noises: of the unit.
    envelope, bent_time: functions of time. span: least and greatest factor of the level that the
    unit has within the record; product_span: of its distortion beside that.
    added: waveforms of the unit or the bench. spoilt: what happens to the samples, in order.
    step_v: quantisation step, 0 for none. maybe: noise density that a record may or may not show.
    modulation: depth and frequency of each, rendered by `envelope`. sidebands: of other causes.
    bench_lines: that the bench adds to the record, of the orders of the tone.
    calibration_error: relative, where it isn't drawn for this capture alone.
    hum_gain, hum_bend: factors of the mains lines, and what is added to their time, by time.
    header_rate: what the file states, where it isn't the rate.
    wave: the driven waveform where it isn't one of lines. crest_v: its greatest magnitude.
    nothing_right: what was recorded isn't what was stated. statement: what the manifest says.
    """

    rng: np.random.Generator
    kind: str
    rate: float
    seconds: float
    full_scale_v: float
    lines: list[Line]
    hum: list[Line]
    noises: list[Noise]
    mains_hz: float
    mains_stated_hz: float
    dc_v: float = 0.0
    calibration: float = 0.0
    bits: int | None = None
    used_bits: int | None = None
    dither: bool = True
    envelope: list[Callable[[Array], Array]] = field(default_factory=list)
    product_envelope: Callable[[Array], Array] | None = None
    bent_time: list[Callable[[Array], Array]] = field(default_factory=list)
    span: tuple[float, float] = (1.0, 1.0)
    product_span: tuple[float, float] = (1.0, 1.0)
    hum_gain: list[OfTime] = field(default_factory=list)
    hum_bend: list[OfTime] = field(default_factory=list)
    dc_span_v: tuple[float, float] = (0.0, 0.0)
    added: list[Waveform] = field(default_factory=list)
    maybe: list[Noise] = field(default_factory=list)
    sidebands: list[Line] = field(default_factory=list)
    modulation: list[tuple[float, float]] = field(default_factory=list)
    bench_lines: list[Line] = field(default_factory=list)
    calibration_error: float | None = None
    header_rate: float | None = None
    wave: OfTime | None = None
    crest_v: float = 0.0
    nothing_right: bool = False
    spoilt: list[OnSamples] = field(default_factory=list)
    statement: dict[str, float] = field(default_factory=dict)

    @property
    def beside(self) -> list[Line]:
        """Sidebands of all causes: within the band they count as noise, those of harmonics too."""
        made = [
            Line(abs(x.hz + s * hz), x.peak * depth / 2, 0.0)
            for depth, hz in self.modulation
            for x in self.lines
            for s in (-1, 1)
        ]
        return [*self.sidebands, *made]

    @property
    def step_density(self) -> float:
        """What its steps may add to the noise of the record, V^2/Hz (triangular dither)."""
        bits = self.used_bits or self.bits
        step = 2 * self.full_scale_v / 2.0**bits if bits else 0.0
        return step**2 / 4 / (self.rate / 2)

    @property
    def hum_span(self) -> tuple[float, float]:
        """Least and greatest factor of the mains lines within the record."""
        whole = self._gain_of_hum(np.linspace(0, self.seconds, 4000))
        return float(whole.min()), float(whole.max())

    def hum_volts(self, t: Array) -> Array:
        """The mains lines that a converter lets through."""
        result = np.zeros(len(t))
        bent = t + sum(bend(t) for bend in self.hum_bend) if self.hum_bend else t
        for line in self.hum:
            if line.hz < self.highest_hz:
                result += line.peak * np.cos(2 * np.pi * line.hz * bent + line.phase)
        return result * self._gain_of_hum(t)

    def _gain_of_hum(self, t: Array) -> Array:
        result = np.ones(len(t))
        for gain in self.hum_gain:
            result *= gain(t)
        return result

    @property
    def highest_hz(self) -> float:
        return PASS_BAND * self.rate


def render(scene: Scene) -> Array:
    """The samples that the recorder wrote, in volts as the stated full scale reads them."""
    rng, count = scene.rng, int(scene.rate * scene.seconds)
    t = np.arange(count) / scene.rate
    volts = _driven(scene, t) + scene.hum_volts(t)
    for noise in scene.noises:
        volts += noise.volts(rng, scene.rate, count)
    for waveform in scene.added:
        volts += waveform(t, rng)
    volts += scene.dc_v
    drawn = scene.calibration * rng.standard_normal()
    volts *= 1 + (drawn if scene.calibration_error is None else scene.calibration_error)
    for spoil in scene.spoilt:
        volts = spoil(volts, scene.rate, rng)
    return _quantised(scene, volts)


def _driven(scene: Scene, t: Array) -> Array:
    bent = t + sum(bend(t) for bend in scene.bent_time) if scene.bent_time else t
    tones, rest = np.zeros(len(t)), np.zeros(len(t))
    if scene.wave is not None:
        tones += scene.wave(bent)
    turn = np.exp(2j * np.pi * _base_hz(scene.lines) * bent) if scene.lines else bent
    powers: dict[int, Array] = {}
    for line in [*scene.lines, *scene.bench_lines]:
        into = tones if line.played or scene.kind == "square" else rest
        if len(line.order) == 1:
            turning = _power(turn, line.order[0], powers)
            into += (line.peak * np.exp(1j * line.phase) * turning).real
        else:
            into += line.peak * np.cos(2 * np.pi * line.hz * bent + line.phase)
    if scene.product_envelope is not None:
        rest *= scene.product_envelope(t)
    volts = tones + rest
    for gain in scene.envelope:
        volts *= gain(t)
    return volts


def _base_hz(lines: list[Line]) -> float:
    """The frequency that lines of one number are multiples of."""
    order = lines[0].order
    return lines[0].hz / (order[0] if len(order) == 1 else 1)


def _power(z: Array, order: int, known: dict[int, Array]) -> Array:
    """z to the power of the order, from one a little below where that is known."""
    below = max((n for n in known if order - n in (1, 2)), default=None)
    result = z**order if below is None else known[below] * (z if order - below == 1 else z * z)
    known.clear()
    known[order] = result
    return result


def _quantised(scene: Scene, volts: Array) -> Array:
    top = scene.full_scale_v
    bits = scene.used_bits or scene.bits
    if bits is not None:
        step = 2 * top / 2.0**bits
        shaken = scene.rng.random((2, len(volts))).sum(axis=0) - 1 if scene.dither else 0.0
        volts = np.rint(volts / step + shaken) * step
        return np.clip(volts, -top, top - step)
    return np.clip(volts, -top, top)
