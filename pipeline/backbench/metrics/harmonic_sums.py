"""Sums of a tone's harmonics, and which of them is the strongest."""

from __future__ import annotations

import math

from backbench.errors import NotApplicable
from backbench.metrics.bench_floor import LINE_CHOICE
from backbench.metrics.bench_levels import less_lines_at_level
from backbench.metrics.declaration import MeasuredValue, metric
from backbench.metrics.distortion import SOURCE
from backbench.metrics.harmonic_band import (
    BAND_CHOICE,
    LEAST_ORDER,
    counted,
    harmonic_detail,
    with_mains,
    with_second_and_third,
)
from backbench.metrics.percent_ratios import percent
from backbench.metrics.tone import ToneView
from backbench.metrics.traits import Traits
from backbench.signal.tone import BAND_HZ, LAST_ORDER

FAMILY = "Harmonic distortion"

DISTINCT_SIGMAS = 2.0
"""Two harmonics are told apart where they differ by more standard deviations than this."""


@metric(
    "even_harmonics",
    title="Even harmonics",
    unit="%",
    better="neither",
    source=SOURCE,
    stimuli=["tone"],
    version=3,
    choice="re the fundamental; harmonics 2, 4, 6, 8 and 10" + BAND_CHOICE + LINE_CHOICE,
    traits=Traits(interpolated_in_power=True),
)
def even_harmonics(tone: ToneView) -> MeasuredValue:
    """Root sum square of the even harmonics to the tenth over the fundamental."""
    return less_lines_at_level(tone, _even)


def _even(tone: ToneView) -> MeasuredValue:
    return _sum(tone, 2)


@metric(
    "odd_harmonics",
    title="Odd harmonics",
    unit="%",
    better="neither",
    source=SOURCE,
    stimuli=["tone"],
    version=3,
    choice="re the fundamental; harmonics 3, 5, 7 and 9" + BAND_CHOICE + LINE_CHOICE,
    traits=Traits(interpolated_in_power=True),
)
def odd_harmonics(tone: ToneView) -> MeasuredValue:
    """Root sum square of the odd harmonics to the ninth over the fundamental."""
    return less_lines_at_level(tone, _odd)


def _odd(tone: ToneView) -> MeasuredValue:
    return _sum(tone, LEAST_ORDER)


def _sum(tone: ToneView, first: int) -> MeasuredValue:
    """Every second harmonic from one on to the tenth, over the fundamental."""
    harmonics, last = with_second_and_third(tone)
    part = harmonics.every_second(first, LAST_ORDER)
    figure = percent(part, tone.square, math.inf)
    return with_mains(tone, figure.but(detail=harmonic_detail(last)), harmonics)


@metric(
    "high_harmonics",
    title="Harmonics above the tenth",
    unit="%",
    better="lower",
    source=SOURCE,
    stimuli=["tone"],
    version=3,
    choice="re the fundamental; harmonics from the 11th on, up to 20 kHz" + LINE_CHOICE,
    traits=Traits(interpolated_in_power=True),
)
def high_harmonics(tone: ToneView) -> MeasuredValue:
    """Root sum square of harmonics from the 11th to 20 kHz over the fundamental."""
    return less_lines_at_level(tone, _high)


def _high(tone: ToneView) -> MeasuredValue:
    harmonics = counted(tone, LAST_ORDER + 1, int(BAND_HZ[1]), BAND_HZ[1])
    figure = percent(harmonics.total(LAST_ORDER + 1, int(BAND_HZ[1])), tone.square, math.inf)
    return with_mains(tone, figure, harmonics)


@metric(
    "dominant_harmonic",
    title="Strongest harmonic",
    unit="1",
    better="neither",
    source="common practice, no source",
    stimuli=["tone"],
    version=3,
    choice="among harmonics 2 to 10; no number where none stands out or two can't be told apart",
)
def dominant_harmonic(tone: ToneView) -> MeasuredValue:
    """Order of the harmonic with the greatest level."""
    harmonics, last = with_second_and_third(tone)
    first, *others = sorted(harmonics.squares, key=harmonics.squares.__getitem__, reverse=True)
    strongest = harmonics.one(first)
    if not strongest.stands_out:
        raise NotApplicable("no harmonic stands out of the noise and hum")
    for n in others:
        other = harmonics.one(n)
        variance = strongest.variance + other.variance
        if strongest.value - other.value <= DISTINCT_SIGMAS * math.sqrt(variance):
            raise NotApplicable(f"harmonics {first} and {n} can't be told apart in level")
    return MeasuredValue(float(first), 0.0, detail=harmonic_detail(last))
