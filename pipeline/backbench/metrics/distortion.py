"""Harmonic distortion and noise beside a single tone."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial

from backbench.errors import Refusal
from backbench.metrics.bench_floor import LINE_CHOICE
from backbench.metrics.bench_levels import less_lines_at_level, of_levels, off_at_level, own_at
from backbench.metrics.declaration import Bound, MeasuredValue, metric
from backbench.metrics.distortion_table import DistortionRow
from backbench.metrics.doubtful_mains import doubtful_mains, with_doubtful_noise
from backbench.metrics.harmonic_band import (
    BAND_CHOICE,
    beyond_band,
    ceiling_of,
    counted,
    harmonic_detail,
    mains_remark,
    with_mains,
    with_second_and_third,
)
from backbench.metrics.harmonics_table import HarmonicsTable
from backbench.metrics.percent_ratios import percent, percent_of_total
from backbench.metrics.reduced_tone import ReducedTone
from backbench.metrics.sample_steps import STEPS_CHOICE
from backbench.metrics.shown_band import beyond_shown
from backbench.metrics.spectrum_table import SpectrumTable
from backbench.metrics.tone import ALL_TONES, ToneView
from backbench.metrics.tone_noise import less_bench_noise, less_steps, noise_of, with_line_under
from backbench.metrics.tone_wavering import of_the_record, wavering_remark
from backbench.metrics.traits import AT_POWERS, Overview, Traits
from backbench.metrics.warnings import joined
from backbench.quantities.writing import in_text
from backbench.signal.band_sums import widened
from backbench.signal.hidden_hum import UNSEEN_FACTOR
from backbench.signal.kept_property import kept_with_it
from backbench.signal.power import STANDING
from backbench.signal.sidebands import stands
from backbench.signal.tone import BAND_HZ, LAST_ORDER
from backbench.signal.uncertainty import DB_PER_RELATIVE

FAMILY = "Harmonic distortion"

TRACE_CHOICE = (
    "; of a trace from a fit of the sine with its harmonics (IEEE 1057, from memory), an upper "
    "bound where a step of the instrument's converter could make up a quarter of it; of a table as "
    "the instrument counted it, or up to 2 kHz an upper bound by its THD+N"
)
SOURCE = "IEC 60268-3:2013, 14.12 (second-hand: read in an open library's documentation)"


MOST_MIRRORED = 0.1
"""Share of the residual's power that mirrored harmonics may make up."""


def refuse_mirrored(tone: ToneView) -> None:
    """Raise Refusal where mirrored harmonics make up a good part of what is beside the tone."""
    standing = [place for place in tone.mirrored if stands(place)]
    if sum(place.square.value for place in standing) > MOST_MIRRORED * tone.lines.residual.value:
        first = max(standing, key=lambda place: place.square.value)
        raise Refusal(
            f"aliasing: harmonic {first.order} at {in_text(first.hz, 'Hz', 6)}, above half the "
            f"sample rate, stands at {in_text(first.seen_hz, 'Hz', 6)} in the record; record at a "
            "higher rate"
        )


def _narrowed(figure: MeasuredValue, last: int) -> MeasuredValue:
    """Tells where the record's band left harmonics of the definition out."""
    detail = harmonic_detail(last)
    return figure.but(detail={**figure.detail, **detail}) if detail else figure


@metric(
    "thd",
    title="THD",
    unit="%",
    better="lower",
    source=SOURCE,
    stimuli=[*ALL_TONES, "spectrum table"],
    version=3,
    choice="re the fundamental; harmonics 2 to 10" + BAND_CHOICE + LINE_CHOICE + TRACE_CHOICE,
    traits=Traits(
        also_called=("distortion", "harmonic distortion", "dist", "total harmonic distortion"),
        compared_at=AT_POWERS,
        position=60,
        interpolated_in_power=True,
        bench_distortion=True,
        overview=Overview("Distortion at 1 kHz, 5 W, 8 Ω", "tone-1khz-5w-8ohm"),
        drawn_over_power=True,
        captions=("distortion-over-power", "harmonics-left-and-right"),
    ),
)
def thd(tone: ToneView | ReducedTone | SpectrumTable) -> MeasuredValue:
    """Root sum square of harmonics 2 to 10 over the fundamental."""
    if not isinstance(tone, ToneView):
        return _narrowed(*tone.thd())
    return less_lines_at_level(tone, _thd)


def _thd(tone: ToneView) -> MeasuredValue:
    harmonics, last = with_second_and_third(tone)
    part = harmonics.total(2, last)
    figure = _narrowed(percent(part, tone.square, ceiling_of(tone, last)), last)
    return with_mains(tone, figure, harmonics)


@metric(
    "thd_total",
    title="THD re total rms",
    unit="%",
    better="lower",
    source=SOURCE + ", 14.12.3",
    stimuli=["tone"],
    version=3,
    choice="re the root sum square of fundamental and harmonics 2 to 10"
    + BAND_CHOICE
    + LINE_CHOICE,
    traits=Traits(interpolated_in_power=True, sheet="left out"),
)
def thd_total(tone: ToneView) -> MeasuredValue:
    """Root sum square of harmonics 2 to 10 over that of fundamental and harmonics."""
    return less_lines_at_level(tone, _thd_total)


def _thd_total(tone: ToneView) -> MeasuredValue:
    harmonics, last = with_second_and_third(tone)
    part = harmonics.total(2, last)
    figure = _narrowed(percent_of_total(part, tone.square, ceiling_of(tone, last)), last)
    return with_mains(tone, figure, harmonics)


@metric(
    "thd_wide",
    title="THD to 20 kHz",
    unit="%",
    better="lower",
    source=SOURCE,
    stimuli=["tone"],
    version=3,
    choice="re the fundamental; all harmonics up to 20 kHz; given only where these hold the second "
    "and the third" + LINE_CHOICE,
    traits=Traits(interpolated_in_power=True, sheet="left out"),
)
def thd_wide(tone: ToneView) -> MeasuredValue:
    """Root sum square of all harmonics up to 20 kHz over the fundamental."""
    return less_lines_at_level(tone, _thd_wide)


def _thd_wide(tone: ToneView) -> MeasuredValue:
    harmonics, last = with_second_and_third(tone, BAND_HZ[1])
    figure = percent(harmonics.total(2, last), tone.square, ceiling_of(tone, last))
    return with_mains(tone, beyond_shown(tone, figure), harmonics)


@metric(
    "thd_n",
    title="THD+N",
    unit="%",
    better="lower",
    source="AES17, 6.3.1, and IEC 60268-3 (second-hand)",
    stimuli=["tone", "distortion table", "spectrum table"],
    version=5,
    choice="re the total rms, 20 Hz to 20 kHz; the fundamental's lobe is taken out and the "
    "noise beside it put in its place" + STEPS_CHOICE,
    traits=Traits(
        also_called=("thd and noise", "distortion and noise", "total distortion"),
        compared_at=AT_POWERS,
        position=70,
        interpolated_in_power=True,
        bench_distortion=True,
        watched_at=("tone-1khz-5w-8ohm", "preamp-1khz-2v"),
        captions=("distortion-over-power", "tone-spectrum-of-a-unit"),
    ),
)
def thd_n(tone: ToneView | DistortionRow | SpectrumTable) -> MeasuredValue:
    """Rms of all but the fundamental over the rms of all, 20 Hz to 20 kHz."""
    if not isinstance(tone, ToneView):
        return tone.thd_n()
    return beyond_band(tone, _distortion_and_noise(tone), BAND_HZ[1])


@kept_with_it
def _distortion_and_noise(tone: ToneView) -> MeasuredValue:
    """THD+N, reckoned once for all metrics that rest on it."""
    tone.distorting()
    refuse_mirrored(tone)
    residual = widened(tone.lines.residual, of_the_record(tone) ** 2)
    figure = less_steps(tone, percent_of_total(residual, tone.square), 100.0)
    figure = with_line_under(tone, figure, 100.0)
    wavering = wavering_remark(tone, tone.lines.residual.value)
    figure = figure.but(remark=joined(figure.remark, wavering, doubtful_mains(tone)))
    # The bench's noise has its own volts, its harmonics go with the level.
    clear = less_bench_noise(tone, figure, 100.0)
    known = of_levels(tone, _in_band)
    if known and clear.bound is not None and figure.bound is None:
        clear = _with_unseen_lines(clear, own_at(tone.level_v, known).figure)
    return off_at_level(clear, tone.level_v, known)


def _with_unseen_lines(clear: MeasuredValue, own: MeasuredValue) -> MeasuredValue:
    """A bound for the bench's noise, of whose lines a loop-back tells only how strong they may be.

    They may have taken off the unit's own. Lines that stand out are reckoned with elsewhere.
    """
    return clear.but(value=clear.value + own.value) if own.bound is not None else clear


def _in_band(tone: ToneView) -> MeasuredValue:
    """All harmonics up to 20 kHz, however few, over the fundamental."""
    harmonics = counted(tone, 2, int(BAND_HZ[1]), BAND_HZ[1])
    every = percent(harmonics.total(2, int(BAND_HZ[1])), tone.square, math.inf)
    return beyond_shown(tone, every)


@metric(
    "sinad",
    title="SINAD",
    unit="dB",
    better="higher",
    source="IEEE 1241 (from memory)",
    stimuli=["tone"],
    version=5,
    choice="total over distortion and noise, 20 Hz to 20 kHz: the inverse of THD+N" + STEPS_CHOICE,
    traits=Traits(interpolated_in_power=True, sheet="one power"),
)
def sinad(tone: ToneView) -> MeasuredValue:
    """Rms of all over the rms of all but the fundamental, 20 Hz to 20 kHz."""
    figure = beyond_band(tone, _distortion_and_noise(tone), BAND_HZ[1])
    relative = figure.uncertainty / figure.value
    own = DB_PER_RELATIVE * relative
    bound: Bound | None = "lower" if figure.bound else None
    ratio = -20 * math.log10(figure.value / 100)
    return MeasuredValue(ratio, own, own, figure.dof, bound, remark=figure.remark)


@metric(
    "snr",
    title="Signal-to-noise ratio (SNR)",
    unit="dB",
    better="higher",
    source="IEC 60268-3 (signal-to-noise ratio; from memory)",
    stimuli=["tone"],
    version=7,
    choice="fundamental over noise and hum, 20 Hz to 20 kHz unweighted, harmonics taken out"
    "; with a loop-back in the same range and at the same frequency the bench's own noise is taken "
    "off in power, a lower bound within 3 dB of it" + STEPS_CHOICE,
    traits=Traits(
        also_called=("s/n", "sn", "signal to noise", "signal/noise", "s/n ratio"),
        compared_at=AT_POWERS,
        position=80,
        on_request=True,
        interpolated_in_power=True,
        sheet="one power",
    ),
)
def snr(tone: ToneView) -> MeasuredValue:
    """Fundamental over all that is neither fundamental nor harmonic, 20 Hz to 20 kHz."""
    noise = less_bench_noise(tone, noise_of(tone), tone.square.rms)
    u = DB_PER_RELATIVE * math.hypot(noise.uncertainty / noise.value, tone.square.relative)
    ratio = 20 * math.log10(tone.square.rms / noise.value)
    bound: Bound | None = "lower" if noise.bound else None
    wavering = wavering_remark(tone, tone.lines.noise_only.value)
    remark = joined(noise.remark, wavering, doubtful_mains(tone))
    figure = MeasuredValue(ratio, u, u, noise.dof, bound, remark=remark)
    figure = with_doubtful_noise(tone, figure, tone.lines.noise_only.value)
    return _perhaps_harmonics(tone, _perhaps_hum(tone, figure))


def _perhaps_harmonics(tone: ToneView, figure: MeasuredValue) -> MeasuredValue:
    """A lower bound where harmonics no greater than what undithered steps may make are in it."""
    lines = tone.lines
    last = lines.last_order(BAND_HZ[1])
    if last < 2 or lines.steps <= 0:
        return figure
    harmonics = lines.harmonics(last)
    seen, noise = harmonics.square, harmonics.noise
    hidden = (seen <= STANDING * noise) & (seen > STANDING * (noise - lines.steps))
    if float(seen[hidden].sum()) <= MOST_MIRRORED * lines.noise_only.value:
        return figure
    remark = (
        f"samples in steps of {in_text(lines.step_v, 'V')} without dither hide harmonics, which "
        "are in the noise; record in longer words or with dither"
    )
    return figure.but(bound="lower", remark=joined(figure.remark, remark))


def _perhaps_hum(tone: ToneView, figure: MeasuredValue) -> MeasuredValue:
    """A lower bound where harmonics that may be mains lines make up a good part of the noise.

    A harmonic and a line that take each other off show less than either: the bound reckons with
    the strongest line that may hide so.
    """
    noise, perhaps = tone.lines.noise_only.value, tone.lines.perhaps_hum
    if perhaps <= MOST_MIRRORED * noise:
        return figure
    reason = mains_remark(tone, tone.lines.harmonics(LAST_ORDER)) + ", so it is in the noise"
    less = 10 * math.log10(1 + (UNSEEN_FACTOR - 1) * perhaps / noise)
    remark = joined(figure.remark, reason)
    return figure.but(value=figure.value - less, bound="lower", remark=remark)


@metric(
    "harmonic",
    title="Harmonic level",
    unit="dB",
    better="lower",
    source=SOURCE + ", 14.12.5",
    stimuli=["tone", "harmonics table", "spectrum table"],
    version=3,
    choice="re the fundamental; noise taken off, an upper bound where it doesn't stand out; "
    "wider where a mains line may hide in it" + LINE_CHOICE,
    traits=Traits(interpolated_in_power=True),
)
def harmonic(tone: ToneView | HarmonicsTable | SpectrumTable) -> Iterator[MeasuredValue]:
    """Level of each harmonic from 2 to 10 over the fundamental."""
    if not isinstance(tone, ToneView):
        yield from map(_in_decibels, tone.each())
        return
    for figure in _harmonics(tone):
        if not tone.benches:
            yield _in_decibels(figure)
            continue
        order = figure.order or 0
        known = of_levels(tone, partial(_one, n=order))
        yield _in_decibels(off_at_level(figure, tone.level_v, known, order))


def _one(tone: ToneView, n: int) -> MeasuredValue:
    """One harmonic over the fundamental in percent."""
    return percent(counted(tone, n, n).one(n), tone.square, math.inf)


def _harmonics(tone: ToneView) -> Iterator[MeasuredValue]:
    """Each harmonic over the fundamental in percent."""
    harmonics = counted(tone, 2, LAST_ORDER)
    for n in harmonics.orders.tolist():
        figure = percent(harmonics.one(n), tone.square, math.inf, order=n)
        yield with_mains(tone, figure, harmonics, only=n)


def _in_decibels(figure: MeasuredValue) -> MeasuredValue:
    per = DB_PER_RELATIVE / figure.value
    return figure.but(
        value=20 * math.log10(figure.value / 100),
        uncertainty=figure.uncertainty * per,
        estimation=figure.estimation * per,
    )
