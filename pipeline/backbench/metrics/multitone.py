"""Many tones at once: what is between them, and the response at them."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from backbench.documents.stimuli import Multitone
from backbench.errors import NotApplicable, Refusal
from backbench.metrics.declaration import (
    Bound,
    CaptureData,
    CurveData,
    MeasuredValue,
    curve,
    metric,
    view,
)
from backbench.metrics.distortion import sinad
from backbench.metrics.sample_steps import STEPS_CHOICE, steps_off
from backbench.metrics.tone import ToneView
from backbench.metrics.traits import Traits
from backbench.metrics.two_tones_view import TwoTonesView
from backbench.signal.intermodulation import find_tones
from backbench.signal.kept_property import kept_property, kept_with_it
from backbench.signal.multitone_residual import Product, greatest_product, residual_between_tones
from backbench.signal.power import MeanSquare
from backbench.signal.spectrum_reduction import reduced
from backbench.signal.tone import BAND_HZ
from backbench.signal.tone_set import ToneSet
from backbench.signal.track import Track
from backbench.signal.uncertainty import DB_PER_RELATIVE, Contribution, combine

FAMILY = "Intermodulation and multitone"

FULL_SCALE_SINE_DB = 1.7609
DB_PER_BIT = 6.0206
REFERENCE_HZ = 1000.0
LOBE_TELLS = 3.0
"""Standard uncertainties by which middle and whole of a lobe differ where something is in it."""
OF_LOBE = 20.0
"""By how much more the whole is then off, re that difference: 12 times by a line 0.8 bins away, 19
times by slow wavering (simulated)."""
_IN_USE = "common practice, no source; band of AES17"


@dataclass(frozen=True, eq=False)
class MultitoneView:
    """One output's track of many tones. source: the same tones in the generator's track."""

    capture_data: CaptureData
    track: Track
    tone_set: ToneSet
    source: ToneSet | None

    @kept_property
    def beside(self) -> MeanSquare:
        """All but the tones, 20 Hz to 20 kHz. Raises Refusal where that band isn't reached."""
        stimulus = self.capture_data.stimulus
        assert isinstance(stimulus, Multitone)
        return residual_between_tones(self.tone_set, sorted(stimulus.multitone_hz))

    @kept_property
    def product(self) -> Product:
        """The strongest line that isn't a tone."""
        return greatest_product(self.tone_set)

    @kept_property
    def distortion(self) -> MeasuredValue:
        """All beside the tones over the whole, rms, in percent."""
        rest, tones = self.beside, self.tone_set.together
        share = rest.value / (rest.value + tones.value)
        value = 100 * math.sqrt(share)
        own = value * (1 - share) * math.hypot(rest.relative, tones.relative)
        figure = MeasuredValue(value, own, own, rest.samples)
        per_volt = 100 / math.sqrt(rest.value + tones.value)
        return steps_off(figure, self.tone_set, per_volt, BAND_HZ[1])


@view("multitone", version=12)
def multitone_view(capture_data: CaptureData, number: int) -> MultitoneView:
    """Many tones in output track `number`. Raises Refusal where they are not those stated.

    The tones need not fit the record: the window keeps them apart at any frequency.
    """
    stimulus = capture_data.stimulus
    assert isinstance(stimulus, Multitone)
    if capture_data.driven_track not in (None, number):
        raise Refusal("this output was not driven in this capture")
    stated, apart = sorted(stimulus.multitone_hz), tone_spacing(stimulus)
    tones = find_tones(capture_data.outputs[number], stated, apart, capture_data.mains_hz)
    source = None
    if capture_data.generator is not None:
        source = find_tones(capture_data.generator, stated, apart, capture_data.mains_hz)
    return MultitoneView(capture_data, capture_data.outputs[number], tones, source)


def tone_spacing(stimulus: Multitone) -> float:
    """Distance of the nearest two tones, or of one to 0 Hz, in Hz.

    Raises Refusal where the list names a tone twice.
    """
    stated = sorted(stimulus.multitone_hz)
    apart = min(stated[0], *(b - a for a, b in itertools.pairwise(stated)))
    if apart <= 0:
        raise Refusal("the list names a tone twice")
    return apart


def _volts(square: MeanSquare, track: Track, frequency_hz: float | None = None) -> MeasuredValue:
    own = square.relative * square.rms
    total = combine(
        [Contribution(own, square.samples), Contribution(square.rms * track.calibration)]
    )
    return MeasuredValue(square.rms, total.u, own, total.dof, frequency_hz=frequency_hz)


@metric(
    "tones_level",
    title="Level of all tones",
    unit="V",
    better="neither",
    source="IEC 60268-3 (output voltage)",
    stimuli=["two tones", "multitone"],
    version=2,
    choice="root sum square of the tones",
    traits=Traits(set_by_reviewer=True),
)
def tones_level(seen: MultitoneView | TwoTonesView) -> MeasuredValue:
    """Root mean square of all tones together at the output."""
    return _volts(_together(seen.tone_set), seen.track)


@kept_with_it
def _together(tones: ToneSet) -> MeanSquare:
    """Mean square of all tones, with what a line or wavering nearer to one than a bin may make of
    it: the middle of its lobe then shows another level than the whole."""
    each = [
        (abs(tone.value - middle), 2 * tone.relative * tone.value)
        for tone, middle in zip(tones.tones, tones.middles, strict=True)
    ]
    hidden = OF_LOBE * sum([apart for apart, own in each if apart > LOBE_TELLS * own])
    whole = tones.together
    return whole._replace(floor=whole.floor + hidden * hidden)


@metric(
    "tones_power",
    title="Power of all tones",
    unit="W",
    better="neither",
    source="IEC 60268-3 (output power)",
    stimuli=["two tones", "multitone"],
    version=2,
    choice="mean power of the tones, into the stated resistor; not that of a sine of equal peak",
    traits=Traits(set_by_reviewer=True, own_stimulus="power"),
)
def tones_power(seen: MultitoneView | TwoTonesView) -> MeasuredValue:
    """Squared rms of all tones over the load's resistance."""
    load = seen.capture_data.conditions.load_resistance
    if load is None:
        raise NotApplicable("no resistor was connected as a load")
    square = _together(seen.tone_set)
    power = square.value / load
    own = 2 * square.relative * power
    shared = math.hypot(2 * seen.track.calibration, seen.capture_data.load_uncertainty) * power
    total = combine([Contribution(own, square.samples), Contribution(shared)])
    return MeasuredValue(power, total.u, own, total.dof)


@metric(
    "equivalent_sine_power",
    title="Equivalent sine power of two tones",
    unit="W",
    better="neither",
    source="IEC 60268-3, 14.12.7 (sine of equal peak; from memory)",
    stimuli=["two tones"],
    version=1,
    choice="power of a sine whose peak is the sum of both tones' peaks, into the stated resistor: "
    "2 times the mean power for equal tones, 25/17 of it for 4:1",
    traits=Traits(set_by_reviewer=True),
)
def equivalent_sine_power(pair: TwoTonesView) -> MeasuredValue:
    """Squared sum of both tones' rms over the load's resistance."""
    load = pair.capture_data.conditions.load_resistance
    if load is None:
        raise NotApplicable("no resistor was connected as a load")
    tones = pair.tone_set.tones
    rms = sum(tone.rms for tone in tones)
    power = rms**2 / load
    own = 2 * rms / load * math.hypot(*(tone.rms * tone.relative for tone in tones))
    shared = math.hypot(2 * pair.track.calibration, pair.capture_data.load_uncertainty) * power
    total = combine([Contribution(own, min(tone.samples for tone in tones)), Contribution(shared)])
    return MeasuredValue(power, total.u, own, total.dof)


@metric(
    "between_tones",
    title="Distortion and noise between multitone lines",
    unit="V",
    better="lower",
    source=_IN_USE,
    stimuli=["multitone"],
    version=3,
    choice="rms, 20 Hz to 20 kHz; products that fall on a tone can't be seen" + STEPS_CHOICE,
)
def between_tones(seen: MultitoneView) -> MeasuredValue:
    """Rms of all that lies beside the tones, 20 Hz to 20 kHz."""
    return steps_off(_volts(seen.beside, seen.track), seen.tone_set, 1.0, BAND_HZ[1])


@metric(
    "multitone_distortion",
    title="Multitone distortion and noise",
    unit="%",
    better="lower",
    source=_IN_USE,
    stimuli=["multitone"],
    version=3,
    choice="re the total rms, 20 Hz to 20 kHz; products that fall on a tone can't be seen"
    + STEPS_CHOICE,
)
def multitone_distortion(seen: MultitoneView) -> MeasuredValue:
    """Rms of all beside the tones over the rms of all, 20 Hz to 20 kHz."""
    return seen.distortion


@metric(
    "greatest_product",
    title="Strongest intermodulation product",
    unit="V",
    better="lower",
    source=_IN_USE,
    stimuli=["multitone"],
    version=2,
    choice="strongest line beside the tones, a mains line included; an upper bound where none "
    "stands out of the noise",
)
def greatest_line(seen: MultitoneView) -> MeasuredValue:
    """Rms of the strongest line in 20 Hz to 20 kHz that isn't a tone, and where it is."""
    product = seen.product
    hz = round(product.frequency_hz, 2)
    if not product.square.stands_out:
        most = product.square.at_most
        return MeasuredValue(most, most * seen.track.calibration, bound="upper")
    return _volts(product.square, seen.track, hz)


@metric(
    "sfdr",
    title="Spurious-free dynamic range (SFDR)",
    unit="dB",
    better="higher",
    source="IEEE 1241 (second-hand), from one tone to many",
    stimuli=["multitone"],
    version=2,
    choice="strongest tone over the strongest other line, 20 Hz to 20 kHz, harmonic or not, 0 Hz "
    "left out; a lower bound where no line stands out of the noise",
)
def sfdr(seen: MultitoneView) -> MeasuredValue:
    """The strongest tone over the strongest line that isn't a tone."""
    strongest = max(seen.tone_set.tones, key=lambda tone: tone.value)
    product = seen.product.square
    if not product.stands_out:
        return MeasuredValue(20 * math.log10(strongest.rms / product.at_most), 0.0, bound="lower")
    own = DB_PER_RELATIVE * math.hypot(product.relative, strongest.relative)
    return MeasuredValue(20 * math.log10(strongest.rms / product.rms), own, own, product.samples)


@metric(
    "equivalent_bits",
    title="Effective number of bits (ENOB)",
    unit="bit",
    better="higher",
    source="IEEE 1241, effective number of bits, (SINAD - 1.76 dB) / 6.02 (second-hand)",
    stimuli=["tone", "multitone"],
    version=5,
    choice="of an ideal converter, driven to full scale by a sine of the same rms, with as much "
    "noise and distortion in 20 Hz to 20 kHz" + STEPS_CHOICE,
)
def equivalent_bits(seen: MultitoneView | ToneView) -> MeasuredValue:
    """SINAD in dB less 1.76, over 6.02."""
    if isinstance(seen, ToneView):
        assert sinad.measure is not None
        given = sinad.measure(seen)
        assert isinstance(given, MeasuredValue)
        bits = _bits(given.value, given.uncertainty, given.dof, given.bound)
        return bits.but(remark=given.remark)
    rest = seen.distortion
    own = DB_PER_RELATIVE * rest.uncertainty / rest.value
    bound: Bound | None = "lower" if rest.bound else None
    bits = _bits(-20 * math.log10(rest.value / 100), own, rest.dof, bound)
    return bits.but(remark=rest.remark)


def _bits(sinad_db: float, own_db: float, dof: float, bound: Bound | None) -> MeasuredValue:
    own = own_db / DB_PER_BIT
    return MeasuredValue((sinad_db - FULL_SCALE_SINE_DB) / DB_PER_BIT, own, own, dof, bound)


@curve(
    "multitone_response",
    title="Response at the tones",
    x_unit="Hz",
    y_unit="dB re the tone nearest 1 kHz",
    stimuli=["multitone"],
    version=1,
)
def multitone_response(seen: MultitoneView) -> CurveData:
    """Level of each tone re that nearest 1 kHz; re the generator's where a track recorded it."""
    squares = [seen.tone_set.tones]
    if seen.source is not None:
        squares.append(seen.source.tones)
    db = [np.array([10 * math.log10(one.value) for one in tones]) for tones in squares]
    u = [np.array([DB_PER_RELATIVE * one.relative for one in tones]) for tones in squares]
    level = db[0] - (db[1] if len(db) > 1 else 0.0)
    own = np.sqrt(np.sum(np.square(u), axis=0))
    hz = seen.tone_set.frequencies_hz
    reference = int(np.argmin(np.abs(np.log(hz / REFERENCE_HZ))))
    return CurveData(hz, level - level[reference], np.hypot(own, own[reference]))


@curve(
    "tones_spectrum",
    title="Spectrum (lines at their peak, noise as the level in one resolution bandwidth)",
    x_unit="Hz",
    y_unit="dBV",
    stimuli=["two tones", "multitone"],
    version=1,
)
def tones_spectrum(seen: MultitoneView | TwoTonesView) -> CurveData:
    """Rms of each line; between lines, of the noise in the window's noise bandwidth."""
    own = seen.tone_set.spectrum
    x, y = reduced(own, seen.tone_set.noise)
    return CurveData(x, 10 * np.log10(y * own.window.enbw))
