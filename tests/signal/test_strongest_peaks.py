"""The strongest line beside tones, looked for among the greatest bins, beside a general library."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import find_peaks

from backbench.signal.multitone_residual import BETWEEN_BINS, strongest_peaks


@given(st.integers(0, 2**32 - 1), st.integers(0, 6))
def test_they_are_the_greatest_peaks_of_the_library(seed: int, feet: int) -> None:
    """Tones whose lobes are cut off leave feet that fall from the cut on, which are no peaks."""
    rng = np.random.default_rng(seed)
    power, removed = rng.chisquare(2, 400), np.zeros(400, dtype=bool)
    for place in rng.integers(20, 380, feet).tolist():
        power[place - 12 : place + 13] += 1e3 * np.exp(-np.abs(np.arange(-12.0, 13)) / 2)
        removed[place - 4 : place + 5] = True
    band = slice(10, 390)
    found = strongest_peaks(power, np.where(removed, 0.0, power)[band], band.start)
    peaks = find_peaks(power)[0]
    peaks = peaks[(peaks >= band.start) & (peaks < band.stop) & ~removed[peaks]]
    expected = peaks[power[peaks] >= BETWEEN_BINS * power[peaks].max()]
    assert sorted(found) == sorted(expected[np.argsort(-power[expected])][: len(found)])
    assert found[0] == expected[np.argmax(power[expected])]
