"""What stands beside a tone: residuals of other definitions, sidebands, mirrored harmonics."""

from __future__ import annotations

import math
from collections.abc import Iterator

from backbench.errors import NotApplicable
from backbench.metrics.declaration import MeasuredValue, metric
from backbench.metrics.distortion import refuse_mirrored
from backbench.metrics.harmonic_band import beyond_band
from backbench.metrics.percent_ratios import percent_of_total
from backbench.metrics.tone import ToneView
from backbench.metrics.tone_noise import less_steps, with_line_under
from backbench.metrics.traits import Traits
from backbench.quantities.writing import exact, in_text
from backbench.signal.band_sums import notch_power
from backbench.signal.power import MeanSquare
from backbench.signal.sidebands import (
    MIRRORED,
    mains_sidebands,
    on_mains_multiple,
    reaches_above_half,
    stands,
)
from backbench.signal.tone import BAND_HZ, PASS_BAND
from backbench.signal.uncertainty import DB_PER_RELATIVE

FAMILY = "Harmonic distortion"

WIDEST_HZ = 80_000.0
LEAST_WIDE_HZ = 30_000.0
NOTCH_Q = 2.0
NONE_ABOVE = f"no harmonic up to the {MIRRORED}th lies above half the sample rate"


@metric(
    "thd_n_wide",
    title="THD+N to 80 kHz",
    unit="%",
    better="lower",
    source="common practice, no source: a residual bandwidth of 80 kHz",
    stimuli=["tone"],
    version=2,
    choice="re the total rms, 20 Hz to 80 kHz or to where the record's band ends (detail tells "
    "which); only of records whose band goes beyond 30 kHz",
    traits=Traits(interpolated_in_power=True),
)
def thd_n_wide(tone: ToneView) -> MeasuredValue:
    """Rms of all but the fundamental over the rms of all, 20 Hz to 80 kHz."""
    lines = tone.distorting()
    band = PASS_BAND * lines.spectrum.rate_hz
    if band < LEAST_WIDE_HZ:
        raise NotApplicable(
            f"the record's band ends at {in_text(band, 'Hz')}, hardly beyond that of THD+N"
        )
    refuse_mirrored(tone)
    top = min(WIDEST_HZ, math.floor(band / 100) * 100.0)
    figure = percent_of_total(lines.residual_to(top), tone.square)
    figure = with_line_under(tone, less_steps(tone, figure, 100.0, top), 100.0)
    detail = {"band": f"20 Hz to {exact(top / 1000, 'kHz')}"}
    return beyond_band(tone, figure.but(detail=detail), top)


@metric(
    "thd_n_notch",
    title="THD+N with a notch filter",
    unit="%",
    better="lower",
    source="AES17, 6.3.1, notch of 5.2.8: 1.2 <= Q <= 3 (second-hand: an open library's "
    "documentation)",
    stimuli=["tone"],
    version=2,
    choice="re the total rms, 20 Hz to 20 kHz; a second-order notch of Q 2 at the tone as found, "
    "by its response on the spectrum, which takes 0.46 dB off the second harmonic",
    traits=Traits(interpolated_in_power=True),
)
def thd_n_notch(tone: ToneView) -> MeasuredValue:
    """Rms of what a notch filter at the fundamental leaves over the rms of all."""
    lines = tone.distorting()
    refuse_mirrored(tone)
    left = lines.filtered(lambda square: notch_power(square, NOTCH_Q))
    whole = lines.residual.value + tone.square.value
    value = 100 * math.sqrt(left.value / whole)
    if not left.stands_out:
        most = MeasuredValue(100 * left.at_most / math.sqrt(whole), 0.0, bound="upper")
        return beyond_band(tone, most, BAND_HZ[1])
    own = value * math.hypot(left.relative, tone.square.relative)
    ratio = less_steps(tone, MeasuredValue(value, own, own, left.samples), 100.0)
    return beyond_band(tone, with_line_under(tone, ratio, 100.0), BAND_HZ[1])


def _line_re_tone(square: MeanSquare, tone: ToneView, **kept: object) -> MeasuredValue:
    """Level of lines re the fundamental in dB; an upper bound where they don't stand out."""
    whole = tone.square
    if not square.stands_out:
        most = 20 * math.log10(square.at_most / whole.rms)
        return MeasuredValue(most, 0.0, bound="upper", **kept)  # type: ignore[arg-type]
    own = DB_PER_RELATIVE * math.hypot(square.relative, whole.relative)
    value = 20 * math.log10(square.rms / whole.rms)
    return MeasuredValue(value, own, own, square.samples, **kept)  # type: ignore[arg-type]


@metric(
    "mains_sideband",
    title="Mains sidebands",
    unit="dB",
    better="lower",
    source="common practice, no source: modulation by the supply",
    stimuli=["tone"],
    version=2,
    choice="root sum square of the pair at the tone +/- n times the mains, n 1 to 6, re the "
    "fundamental; none where a tone on a multiple of the mains leaves mains lines and "
    "sidebands in the same place",
)
def mains_sideband(tone: ToneView) -> Iterator[MeasuredValue]:
    """Level of each pair of lines at the tone's frequency +/- n times the mains."""
    lines, nominal = tone.beside_mains(), tone.capture_data.mains_hz
    if nominal is None:
        raise NotApplicable("the mains frequency was not stated")
    pairs = mains_sidebands(lines, nominal)
    if not pairs:
        raise NotApplicable(
            f"{in_text(nominal, 'Hz', 6)} beside {in_text(tone.stated_hz, 'Hz', 6)} can't be told "
            "from the tone and its harmonics in this record"
        )
    multiple = on_mains_multiple(lines, nominal)
    if multiple and any(pair.square.stands_out for pair in pairs):
        raise NotApplicable(
            f"{in_text(tone.stated_hz, 'Hz', 6)} is {multiple} times the mains, so lines beside it "
            f"may be hum or sidebands; play {in_text((multiple + 0.5) * nominal, 'Hz', 6)} to "
            "tell them apart"
        )
    for pair in pairs:
        yield _line_re_tone(pair.square, tone, order=pair.n)


@metric(
    "mirrored_harmonic",
    title="Aliased harmonic",
    unit="dB",
    better="lower",
    source="common practice, no source: a harmonic at f appears at |f - k fs| once sampled",
    stimuli=["tone"],
    version=2,
    choice="the strongest line where sampling mirrors harmonics to the 40th that lie above half "
    "the sample rate, re the fundamental",
)
def mirrored_harmonic(tone: ToneView) -> MeasuredValue:
    """Level of the strongest harmonic that sampling mirrors into the record's band."""
    tone.distorting()
    places = tone.mirrored
    if not places and not reaches_above_half(tone.lines):
        raise NotApplicable(NONE_ABOVE)
    if not places:
        raise NotApplicable(
            f"harmonics of {in_text(tone.stated_hz, 'Hz', 6)} are mirrored onto each other or "
            "onto mains lines"
        )
    standing = [place for place in places if stands(place)]
    if not standing:
        most = max(place.square.at_most for place in places)
        return MeasuredValue(20 * math.log10(most / tone.square.rms), 0.0, bound="upper")
    strongest = max(standing, key=lambda place: place.square.value)
    remark = (
        f"harmonic {strongest.order} at {in_text(strongest.hz, 'Hz', 6)} seen at "
        f"{in_text(strongest.seen_hz, 'Hz', 6)}"
    )
    return _line_re_tone(strongest.square, tone, remark=remark)
