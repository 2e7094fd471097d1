"""Intermodulation of two tones: difference-frequency and modulation distortion."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial

from backbench.documents.stimuli import TwoTones
from backbench.errors import NotApplicable
from backbench.metrics.bench_floor import LINE_CHOICE
from backbench.metrics.bench_levels import less_lines_at_level
from backbench.metrics.declaration import Bound, MeasuredValue, metric
from backbench.metrics.pair_mains import mains_under_products
from backbench.metrics.traits import Traits
from backbench.metrics.two_tones_view import (
    DIFFERENCE,
    EQUAL,
    FOUR,
    MODULATION,
    TABLES,
    Combination,
    TwoTonesView,
)
from backbench.metrics.warnings import joined
from backbench.signal.line_ratios import Ratio, of_amplitudes, of_powers, root_sum_square
from backbench.signal.tone_set import summed
from backbench.signal.uncertainty import DB_PER_RELATIVE, Contribution, combine

FAMILY = "Intermodulation and multitone"

_IEC = "IEC 60268-3:2013, {} (second-hand: read in an open library's documentation)"


def percent(ratio: Ratio) -> MeasuredValue:
    """A ratio in percent; calibration cancels in it."""
    bound: Bound | None = "upper" if ratio.bounded else None
    own = 100 * ratio.u
    return MeasuredValue(100 * ratio.value, own, own, ratio.dof, bound)


def _less_bench(
    pair: TwoTonesView, figure_of: Callable[[TwoTonesView], MeasuredValue]
) -> MeasuredValue:
    """A figure in percent, bounded or widened by the bench's own at its level, as far as known."""
    figure = less_lines_at_level(pair, figure_of)
    if figure.bound is None or pair.test is None:
        return figure
    hit = [name for one, name in TABLES[pair.test].items() if one in pair.over_mains]
    remark = mains_under_products(pair.tone_set.mains_hz, hit)
    return figure.but(remark=joined(figure.remark, remark))


@metric(
    "tone_level",
    title="Level of one of two tones",
    unit="V",
    better="neither",
    source="IEC 60268-3 (output voltage)",
    stimuli=["two tones"],
    version=1,
    choice="rms of each tone alone",
    traits=Traits(set_by_reviewer=True),
)
def tone_level(pair: TwoTonesView) -> Iterator[MeasuredValue]:
    """Root mean square of either tone at the output."""
    assert isinstance(pair.capture_data.stimulus, TwoTones)
    for hz, square in zip(pair.capture_data.stimulus.tones_hz, pair.tone_set.tones, strict=True):
        own = square.relative * square.rms
        calibration = Contribution(square.rms * pair.track.calibration)
        total = combine([Contribution(own, square.samples), calibration])
        yield MeasuredValue(square.rms, total.u, own, total.dof, frequency_hz=hz)


@metric(
    "difference_frequency_2",
    title="Difference-frequency distortion (IMD), second order",
    unit="%",
    better="lower",
    source=_IEC.format("14.12.8"),
    stimuli=["two tones"],
    version=2,
    choice=f"f2 - f1 re the sum of both tones' amplitudes; {EQUAL}{LINE_CHOICE}",
)
def difference_frequency_2(pair: TwoTonesView) -> MeasuredValue:
    """Amplitude of the product f2 - f1 over the sum of the amplitudes of both tones."""
    pair.wanted("difference frequency")
    return _less_bench(
        pair, lambda p: percent(of_amplitudes(p.products((-1, 1)), p.tone_set.tones))
    )


@metric(
    "difference_frequency_3",
    title="Difference-frequency distortion (IMD), third order",
    unit="%",
    better="lower",
    source=_IEC.format("14.12.8"),
    stimuli=["two tones"],
    version=2,
    choice=f"arithmetic sum of 2 f1 - f2 and 2 f2 - f1 re the sum of both tones; {EQUAL}"
    + LINE_CHOICE,
)
def difference_frequency_3(pair: TwoTonesView) -> MeasuredValue:
    """Sum of the amplitudes of 2 f1 - f2 and 2 f2 - f1 over the sum of those of both tones."""
    pair.wanted("difference frequency")
    return _less_bench(
        pair, lambda p: percent(of_amplitudes(p.products((2, -1), (-1, 2)), p.tone_set.tones))
    )


@metric(
    "difference_frequency_total",
    title="Difference-frequency distortion (IMD), total",
    unit="%",
    better="lower",
    source=_IEC.format("14.12.10"),
    stimuli=["two tones"],
    version=2,
    choice="root sum square of f2 - f1 and 2 f1 - f2 only, re the sum of both tones; the "
    f"standard asks for f1 = 2 f0 and f2 = 3 f0 - d, given here {EQUAL}" + LINE_CHOICE,
    traits=Traits(compared_at=("two-tone-19k-20k",), position=100),
)
def difference_frequency_total(pair: TwoTonesView) -> MeasuredValue:
    """Root sum square of f2 - f1 and 2 f1 - f2 over the sum of the amplitudes of both tones."""
    pair.wanted("difference frequency")
    return _less_bench(
        pair, lambda p: percent(of_powers(summed(p.products((-1, 1), (2, -1))), p.tone_set.tones))
    )


@metric(
    "modulation_distortion_2",
    title="Modulation distortion (IMD), second order",
    unit="%",
    better="lower",
    source=_IEC.format("14.12.7"),
    stimuli=["two tones"],
    version=2,
    choice=f"arithmetic sum of f2 - f1 and f2 + f1 re the tone f2; {FOUR}; sidebands that the "
    "supply makes are counted where the mains has the frequency f1" + LINE_CHOICE,
)
def modulation_distortion_2(pair: TwoTonesView) -> MeasuredValue:
    """Sum of the amplitudes of f2 - f1 and f2 + f1 over that of f2."""
    pair.wanted("modulation")
    return _less_bench(
        pair, lambda p: percent(of_amplitudes(p.products((-1, 1), (1, 1)), [p.high]))
    )


@metric(
    "modulation_distortion_3",
    title="Modulation distortion (IMD), third order",
    unit="%",
    better="lower",
    source=_IEC.format("14.12.7"),
    stimuli=["two tones"],
    version=2,
    choice=f"arithmetic sum of f2 - 2 f1 and f2 + 2 f1 re the tone f2; {FOUR}; sidebands that "
    "the supply makes are counted where twice the mains is twice f1" + LINE_CHOICE,
)
def modulation_distortion_3(pair: TwoTonesView) -> MeasuredValue:
    """Sum of the amplitudes of f2 - 2 f1 and f2 + 2 f1 over that of f2."""
    pair.wanted("modulation")
    return _less_bench(
        pair, lambda p: percent(of_amplitudes(p.products((-2, 1), (2, 1)), [p.high]))
    )


@metric(
    "modulation_distortion",
    title="Modulation distortion, as a demodulator shows it",
    unit="%",
    better="lower",
    source="SMPTE RP 120 (second-hand: a glossary of digitization guidelines, amplitude modulation "
    "of the higher tone by its second- and third-order sidebands, 60 Hz and 7 kHz at 4:1)",
    stimuli=["two tones"],
    version=2,
    choice="each pair of sidebands, f2 +- f1 and f2 +- 2 f1, as the sum of its amplitudes, both "
    f"pairs as root sum square, re the tone f2; {FOUR}; what an analogue meter shows, which "
    "demodulates the tone f2, where the sidebands change its amplitude and not its phase, and so "
    "what printed specifications of its time mean (common practice, no source)" + LINE_CHOICE,
)
def modulation_distortion(pair: TwoTonesView) -> MeasuredValue:
    """Root sum square of both pairs of sidebands of f2, each the sum of its amplitudes, over f2."""
    pair.wanted("modulation")
    return _less_bench(pair, lambda p: percent(_demodulated(p)))


def _demodulated(pair: TwoTonesView) -> Ratio:
    pairs = (pair.products((-1, 1), (1, 1)), pair.products((-2, 1), (2, 1)))
    return root_sum_square([of_amplitudes(both, [pair.high]) for both in pairs])


@metric(
    "modulation_distortion_rms",
    title="Modulation distortion (IMD), rms of sidebands",
    unit="%",
    better="lower",
    source="SMPTE RP 120 (second-hand; the practice itself was not read)",
    stimuli=["two tones"],
    version=2,
    choice=f"root sum square of f2 +- f1 and f2 +- 2 f1 re the tone f2; {FOUR}; 3.01 dB below "
    "modulation_distortion for pairs of equal sidebands" + LINE_CHOICE,
)
def modulation_distortion_rms(pair: TwoTonesView) -> MeasuredValue:
    """Root sum square of the four nearest sidebands of f2 over f2."""
    pair.wanted("modulation")
    return _less_bench(
        pair, lambda p: percent(of_powers(summed(p.products(*MODULATION)), [p.high]))
    )


@metric(
    "intermodulation_product",
    title="Intermodulation product",
    unit="dB",
    better="lower",
    source=_IEC.format("14.12.7 and 14.12.8"),
    stimuli=["two tones"],
    version=2,
    choice="re the sum of both tones for two equal tones, re the tone f2 for a pair 4:1; an upper "
    "bound where a product doesn't stand out" + LINE_CHOICE,
)
def intermodulation_product(pair: TwoTonesView) -> Iterator[MeasuredValue]:
    """Level of each product of second and third order over the reference of its test."""
    if pair.test is None:
        raise NotApplicable(f"products are given {EQUAL}, and {FOUR}")
    modulation = pair.test == "modulation"
    assert isinstance(pair.capture_data.stimulus, TwoTones)
    low, high = pair.capture_data.stimulus.tones_hz
    for (m, n), name in (MODULATION if modulation else DIFFERENCE).items():
        if pair.tone_set.covers(pair.position((m, n))):
            figure = _less_bench(pair, partial(_product, one=(m, n)))
            yield replace(
                _in_decibels(figure), order=abs(m) + abs(n), frequency_hz=abs(m * low + n * high),
                detail={"product": name},
            )  # fmt: skip


def _product(pair: TwoTonesView, one: Combination) -> MeasuredValue:
    reference = [pair.high] if pair.test == "modulation" else pair.tone_set.tones
    return percent(of_powers(pair.products(one)[0], reference))


def _in_decibels(figure: MeasuredValue) -> MeasuredValue:
    """A ratio in percent as decibels."""
    u, own = (DB_PER_RELATIVE * x / figure.value for x in (figure.uncertainty, figure.estimation))
    return figure.but(value=20 * math.log10(figure.value / 100), uncertainty=u, estimation=own
    )  # fmt: skip
