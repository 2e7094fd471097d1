"""Intermodulation of two tones: difference-frequency and modulation distortion."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import combinations
from typing import Literal

import numpy as np

from backbench.documents.stimuli import TwoTones
from backbench.errors import NotApplicable, Refusal
from backbench.metrics.bench_floor import LINE_CHOICE
from backbench.metrics.bench_levels import less_lines_at_level, loop_back_views
from backbench.metrics.declaration import Bound, CaptureData, MeasuredValue, metric, view
from backbench.metrics.pair_mains import mains_under_products
from backbench.metrics.pair_wavering import with_wavering
from backbench.metrics.traits import Traits
from backbench.metrics.warnings import joined
from backbench.quantities.writing import in_text
from backbench.signal.hidden_hum import HiddenHum
from backbench.signal.intermodulation import find_tones
from backbench.signal.line_ratios import Ratio, of_amplitudes, of_powers, root_sum_square
from backbench.signal.mains import wrong_mains
from backbench.signal.power import MeanSquare
from backbench.signal.tone_set import ToneSet, summed
from backbench.signal.track import Track
from backbench.signal.uncertainty import DB_PER_RELATIVE, Contribution, combine

FAMILY = "Intermodulation and multitone"

Test = Literal["difference frequency", "modulation"]
RATIO_WITHIN = 0.1
MODULATION_RATIO = 4.0
MODULATION_APART = 8.0
"""Least ratio of the frequencies of a modulation pair; the usual pairs have 117 and 32."""
RATIO_AT_OUTPUT_DB = 3.0
"""The ratio found may differ from the stated one by this much: the unit's response is in it."""

DIFFERENCE = {(-1, 1): "f2 - f1", (2, -1): "2 f1 - f2", (-1, 2): "2 f2 - f1"}
MODULATION = {
    (-1, 1): "f2 - f1", (1, 1): "f2 + f1", (-2, 1): "f2 - 2 f1", (2, 1): "f2 + 2 f1",
}  # fmt: skip
Combination = tuple[int, int]
TABLES: dict[Test, dict[Combination, str]] = {
    "difference frequency": DIFFERENCE, "modulation": MODULATION,
}  # fmt: skip

_IEC = "IEC 60268-3:2013, {} (second-hand: read in an open library's documentation)"
_EQUAL = "for two equal tones (amplitudes within 10 %)"
_FOUR = "for a pair 4:1 (within 10 %) whose second frequency is at least 8 times the first"


@dataclass(frozen=True, eq=False)
class TwoTonesView:
    """One output's track of two tones. test: the distortion that the pair is meant for."""

    capture_data: CaptureData
    track: Track
    tone_set: ToneSet
    test: Test | None

    @cached_property
    def benches(self) -> list[TwoTonesView]:
        """The bench's own on the same track, at every level that there is a fit loop-back of."""
        return loop_back_views(two_tones_view, self.capture_data, self.track)

    @property
    def level_v(self) -> float:
        """Rms of both tones, V."""
        return self.tone_set.together.rms

    @property
    def low(self) -> MeanSquare:
        """Mean square of the tone of the lower frequency."""
        return self.tone_set.tones[0]

    @property
    def high(self) -> MeanSquare:
        """Mean square of the tone of the higher frequency."""
        return self.tone_set.tones[1]

    def position(self, combination: Combination) -> float:
        """Where a product m f1 + n f2 falls, bins."""
        low, high = self.tone_set.positions.tolist()
        m, n = combination
        return float(abs(m * low + n * high))

    def products(self, *combinations: Combination) -> list[MeanSquare]:
        """Mean squares of products. Raises Refusal for one beyond the converter's band."""
        for one in combinations:
            position = self.position(one)
            if not self.tone_set.covers(position):
                hz = position * self.tone_set.spectrum.resolution_hz
                raise Refusal(
                    f"the product at {in_text(hz, 'Hz', 6)} is outside the band that a sample "
                    f"rate of {in_text(self.track.rate_hz, 'Hz', 6)} records"
                )
        return [self._standing[one] for one in combinations]

    @cached_property
    def _reached(self) -> dict[Combination, float]:
        """Every product that has a name, as far as the band goes, and where it falls, bins."""
        places = {one: self.position(one) for one in {**DIFFERENCE, **MODULATION}}
        return {one: place for one, place in places.items() if self.tone_set.covers(place)}

    @cached_property
    def _hidden(self) -> HiddenHum:
        """What the mains may hide under these products."""
        return self.tone_set.hum(np.array(list(self._reached.values())))

    @cached_property
    def _standing(self) -> dict[Combination, MeanSquare]:
        """These products."""
        places = np.array(list(self._reached.values()))
        found = self.tone_set.lines(places, self._hidden)
        reached = list(self._reached)
        return dict(
            zip(reached, with_wavering(self.track, self.tone_set, reached, found), strict=True)
        )

    @cached_property
    def over_mains(self) -> set[Combination]:
        """Products that a mains line or a sideband may lie under."""
        under = self._hidden.blind | (self._hidden.square > 0)
        return {one for one, hidden in zip(self._reached, under.tolist(), strict=True) if hidden}

    def wanted(self, test: Test) -> None:
        """Raises NotApplicable unless the pair is one of that test."""
        if self.test != test:
            why = _EQUAL if test == "difference frequency" else _FOUR
            raise NotApplicable(f"{test} distortion is defined {why}")


@view("two tones", version=6)
def two_tones_view(capture_data: CaptureData, number: int) -> TwoTonesView:
    """Two tones in output track `number`. Raises Refusal where they are not those stated."""
    stimulus, track = capture_data.stimulus, capture_data.outputs[number]
    assert isinstance(stimulus, TwoTones)
    if capture_data.driven_track not in (None, number):
        raise Refusal("this output was not driven in this capture")
    tones = find_tones(track, stimulus.tones_hz, pair_spacing(stimulus), capture_data.mains_hz)
    wrong = wrong_mains(tones.spectrum, tones.noise, tones.mains_hz, tones.apart_from_products)
    if wrong is not None:
        raise Refusal(wrong)
    _check_ratio(tones, stimulus.ratio)
    return TwoTonesView(capture_data, track, tones, _test(stimulus))


def pair_spacing(stimulus: TwoTones) -> float:
    """Distance of the nearest two of tones, products and 0 Hz. Raises Refusal where two coincide.

    stimulus: the pair as stated. Gives Hz.
    """
    return _least_distance(stimulus.tones_hz, _test(stimulus))


def _test(stimulus: TwoTones) -> Test | None:
    low, high = stimulus.tones_hz
    if abs(stimulus.ratio - 1) <= RATIO_WITHIN:
        return "difference frequency"
    alike = abs(stimulus.ratio / MODULATION_RATIO - 1) <= RATIO_WITHIN
    return "modulation" if alike and high >= MODULATION_APART * low else None


def _least_distance(tones_hz: Sequence[float], test: Test | None) -> float:
    """Hz between the nearest two of tones, products and 0. Raises Refusal where two coincide."""
    low, high = tones_hz
    table = MODULATION if test == "modulation" else DIFFERENCE if test else {}
    lines = [0.0, low, high, *(abs(m * low + n * high) for m, n in table)]
    least = min(abs(a - b) for a, b in combinations(lines, 2))
    if least < 1e-3 * low:
        raise Refusal(
            f"a product of {in_text(low, 'Hz', 6)} and {in_text(high, 'Hz', 6)} falls on a tone, "
            "on 0 Hz or on another one"
        )
    return least


def _check_ratio(tones: ToneSet, stated: float) -> None:
    low, high = tones.tones
    ratio = low.rms / high.rms
    if abs(20 * math.log10(ratio / stated)) > RATIO_AT_OUTPUT_DB:
        raise Refusal(
            f"the tones are {in_text(ratio)}:1 at the output, not {in_text(stated)}:1 as stated "
            f"(within {in_text(RATIO_AT_OUTPUT_DB, 'dB', 6)})"
        )


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
    choice=f"f2 - f1 re the sum of both tones' amplitudes; {_EQUAL}{LINE_CHOICE}",
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
    choice=f"arithmetic sum of 2 f1 - f2 and 2 f2 - f1 re the sum of both tones; {_EQUAL}"
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
    f"standard asks for f1 = 2 f0 and f2 = 3 f0 - d, given here {_EQUAL}" + LINE_CHOICE,
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
    choice=f"arithmetic sum of f2 - f1 and f2 + f1 re the tone f2; {_FOUR}; sidebands that the "
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
    choice=f"arithmetic sum of f2 - 2 f1 and f2 + 2 f1 re the tone f2; {_FOUR}; sidebands that "
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
    f"pairs as root sum square, re the tone f2; {_FOUR}; what an analogue meter shows, which "
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
    choice=f"root sum square of f2 +- f1 and f2 +- 2 f1 re the tone f2; {_FOUR}; 3.01 dB below "
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
        raise NotApplicable(f"products are given {_EQUAL}, and {_FOUR}")
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
