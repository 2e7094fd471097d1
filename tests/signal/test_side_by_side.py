"""Transforms of tracks that were recorded together: to the digit those of each track alone."""

import numpy as np
import pytest

from backbench.signal.side_by_side import MOST_SAMPLES, alike, recorded_together, transform
from backbench.signal.spectrum import spectrum
from backbench.signal.track import Track

RATE = 48_000.0


def track(seed: int, count: int = 4800, rate: float = RATE) -> Track:
    return Track(np.random.default_rng(seed).standard_normal(count), rate, 10.0, 0.003)


def alone(given: Track) -> Track:
    return Track(given.volts, given.rate_hz, given.full_scale_v, given.calibration)


@pytest.mark.parametrize("count", [2, 3])
def test_spectra_are_those_of_each_track_alone(count: int) -> None:
    tracks = [track(n) for n in range(count)]
    recorded_together(tracks)
    for one in tracks:
        assert np.array_equal(spectrum(one).bins, spectrum(alone(one)).bins)


@pytest.mark.parametrize("size", [4800, 5000, 4096])
def test_transforms_are_those_of_each_track_alone(size: int) -> None:
    tracks = [track(n) for n in range(2)]
    recorded_together([*tracks, None])
    for one in tracks:
        reference = np.fft.rfft(one.volts, size)
        assert np.allclose(transform(one, size), reference, rtol=1e-12, atol=1e-10)
        assert np.array_equal(transform(one, size), transform(alone(one), size))


def test_a_damaged_track_leaves_the_other_as_it_is() -> None:
    whole, damaged = track(1), track(2)
    damaged.volts[7] = np.inf
    recorded_together([whole, damaged])
    assert np.array_equal(spectrum(whole).bins, spectrum(alone(whole)).bins)


def test_only_tracks_of_one_length_and_rate_go_together() -> None:
    first, same, shorter, slower = track(1), track(2), track(3, 4799), track(4, rate=44_100.0)
    recorded_together([first, same, shorter, slower])
    assert alike(first) == [first, same]
    assert alike(shorter) == [shorter]
    unknown = track(5)
    assert alike(unknown) == [unknown]


def test_long_tracks_are_transformed_one_by_one() -> None:
    tracks = [Track(np.zeros(MOST_SAMPLES // 2 + 1), RATE, 10.0, 0.003) for _ in range(2)]
    recorded_together(tracks)
    assert alike(tracks[0]) == [tracks[0]]
