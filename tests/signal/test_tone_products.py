"""Tones found together, and ratios of the lines beside them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from backbench.errors import Refusal
from backbench.signal.intermodulation import (
    find_tones,
    seek_tones,
    seek_tones_of_each,
    spectrum_apart,
)
from backbench.signal.line_ratios import of_amplitudes, of_powers
from backbench.signal.power import MeanSquare
from backbench.signal.tone_set import product_positions, summed
from many_tones import RATE, with_noise
from tones import sines, track

STRONG = MeanSquare(1.0, 1e-12, 1e-9)
WEAK = MeanSquare(1e-9, 1e-14, 1e-9)


def test_product_positions_hold_tones_harmonics_and_products() -> None:
    result = set(product_positions(np.array([10.0, 13.0]), 3).tolist())
    assert result == {3.0, 7.0, 10.0, 13.0, 16.0, 20.0, 23.0, 26.0, 30.0, 33.0, 36.0, 39.0}


def test_tones_are_found_where_they_are() -> None:
    volts = with_noise(sines(RATE, 0.5, {1003.7: 1.0, 5011.2: 0.5}), 1e-6)
    result = find_tones(track(volts, RATE), [1000.0, 5000.0], 1000.0, None)
    assert result.frequencies_hz == pytest.approx([1003.7, 5011.2], rel=1e-8)
    assert [tone.rms for tone in result.tones] == pytest.approx(
        [1 / math.sqrt(2), 0.5 / math.sqrt(2)], rel=1e-6
    )


def test_tracks_searched_step_by_step_are_found_as_one_by_one() -> None:
    volts = [with_noise(sines(RATE, 0.5, {hz: 1.0, 5011.2: 0.5}), 1e-6) for hz in (1003.7, 1030.0)]
    stated = ([1000.0, 5000.0], 1000.0, 50.0)
    tracks = [track(v, RATE) for v in volts]
    seek_tones_of_each(tracks, *stated)
    alone = seek_tones(track(volts[0], RATE), *stated)
    ready = seek_tones(tracks[0], *stated)
    assert ready.positions.tolist() == alone.positions.tolist()
    assert ready.tones == alone.tones
    with pytest.raises(Refusal, match="no tone near 1 kHz"):
        seek_tones(tracks[1], *stated)


def test_a_tone_further_off_than_two_percent_is_missing() -> None:
    volts = with_noise(sines(RATE, 0.5, {1030.0: 1.0, 5000.0: 0.5}), 1e-6)
    with pytest.raises(Refusal, match=r"no tone near 1 kHz; .* 1\.03 kHz"):
        find_tones(track(volts, RATE), [1000.0, 5000.0], 1000.0, None)


def test_a_tone_that_drifts_is_refused() -> None:
    t = np.arange(int(RATE * 0.5)) / RATE
    gliding = np.cos(2 * np.pi * (3000 * t + 20 * t**2))
    volts = with_noise(gliding + np.cos(2 * np.pi * 9000 * t), 1e-6)
    with pytest.raises(Refusal, match="isn't steady"):
        find_tones(track(volts, RATE), [3010.0, 9000.0], 3000.0, None)


def test_the_window_follows_the_distance_of_the_lines() -> None:
    record = track(with_noise(np.zeros(int(RATE)), 1e-3), RATE)
    assert spectrum_apart(record, 20.0).window.half_width == 7
    assert spectrum_apart(record, 12.0).window.half_width == 4
    with pytest.raises(Refusal, match=r"at least 1\.2 s"):
        spectrum_apart(record, 8.0)


def test_sum_of_mean_squares() -> None:
    whole = summed([MeanSquare(1.0, 1e-4, 1e-3, 50), MeanSquare(3.0, 4e-4, 1e-3, 20)])
    assert whole.value == 4.0
    assert whole.floor == pytest.approx(5e-4)
    assert whole.samples == 20


def test_a_sum_of_amplitudes_with_one_in_the_noise_holds_what_it_may_be() -> None:
    ratio = of_amplitudes([STRONG, WEAK], [STRONG])
    assert not ratio.bounded
    assert ratio.value == pytest.approx(1.0 + WEAK.at_most / 2)
    assert ratio.u >= WEAK.at_most / math.sqrt(12)


def test_sums_in_the_noise_are_bounds() -> None:
    assert of_amplitudes([WEAK, WEAK], [STRONG]).bounded
    assert of_amplitudes([WEAK, WEAK], [STRONG]).value == pytest.approx(2 * WEAK.at_most)
    assert of_powers(WEAK, [STRONG]).bounded
