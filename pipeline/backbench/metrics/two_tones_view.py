"""Two tones of one output as the metrics of their intermodulation see them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from typing import Literal

import numpy as np

from backbench.documents.stimuli import TwoTones
from backbench.errors import NotApplicable, Refusal
from backbench.metrics.bench_levels import loop_back_views
from backbench.metrics.declaration import CaptureData, view
from backbench.metrics.pair_wavering import with_wavering
from backbench.quantities.writing import in_text
from backbench.signal.hidden_hum import HiddenHum
from backbench.signal.intermodulation import find_tones
from backbench.signal.kept_property import kept_property
from backbench.signal.line_places import off_place
from backbench.signal.mains import wrong_mains
from backbench.signal.power import MeanSquare
from backbench.signal.tone_set import ToneSet
from backbench.signal.track import Track

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

EQUAL = "for two equal tones (amplitudes within 10 %)"
FOUR = "for a pair 4:1 (within 10 %) whose second frequency is at least 8 times the first"


@dataclass(frozen=True, eq=False)
class TwoTonesView:
    """One output's track of two tones. test: the distortion that the pair is meant for."""

    capture_data: CaptureData
    track: Track
    tone_set: ToneSet
    test: Test | None

    @kept_property
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

    @kept_property
    def _reached(self) -> dict[Combination, float]:
        """The products of the pair's test, as far as the band goes, and where they fall, bins."""
        places = {one: self.position(one) for one in (TABLES[self.test] if self.test else ())}
        return {one: place for one, place in places.items() if self.tone_set.covers(place)}

    @kept_property
    def _hidden(self) -> HiddenHum:
        """What the mains may hide under these products; all of one beside which a line stands."""
        tones, places = self.tone_set, np.array(list(self._reached.values()))
        hidden = tones.hum(places)
        beside = off_place(tones.spectrum, tones.noise, places)
        return hidden._replace(blind=hidden.blind | beside)

    @kept_property
    def _standing(self) -> dict[Combination, MeanSquare]:
        """These products."""
        places = np.array(list(self._reached.values()))
        found = self.tone_set.lines(places, self._hidden)
        reached = list(self._reached)
        return dict(
            zip(reached, with_wavering(self.track, self.tone_set, reached, found), strict=True)
        )

    @kept_property
    def over_mains(self) -> set[Combination]:
        """Products that a mains line or a sideband may lie under."""
        under = self._hidden.blind | (self._hidden.square > 0)
        return {one for one, hidden in zip(self._reached, under.tolist(), strict=True) if hidden}

    def wanted(self, test: Test) -> None:
        """Raises NotApplicable unless the pair is one of that test."""
        if self.test != test:
            why = EQUAL if test == "difference frequency" else FOUR
            raise NotApplicable(f"{test} distortion is defined {why}")


@view("two tones", version=10)
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
    return _least_distance(tuple(stimulus.tones_hz), _test(stimulus))


def _test(stimulus: TwoTones) -> Test | None:
    low, high = stimulus.tones_hz
    if abs(stimulus.ratio - 1) <= RATIO_WITHIN:
        return "difference frequency"
    alike = abs(stimulus.ratio / MODULATION_RATIO - 1) <= RATIO_WITHIN
    return "modulation" if alike and high >= MODULATION_APART * low else None


@lru_cache(maxsize=16)
def _least_distance(tones_hz: tuple[float, ...], test: Test | None) -> float:
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
