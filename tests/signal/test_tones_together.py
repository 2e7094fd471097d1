"""What is reckoned of the tones of several tracks in one go."""

from __future__ import annotations

import numpy as np
import pytest

from backbench.signal.tone_search import seek_tone, seek_tone_of_each
from tones import sines, track

RATE = 48_000.0
LINES = {1000.3: 3.0, 2000.6: 1e-3, 3000.9: 5e-4, 50.0: 1e-4, 850.0: 3e-4, 950.0: 2e-4}


@pytest.mark.parametrize("mains_hz", [50.0, 60.0, None])
def test_tones_together_are_those_of_each_alone(mains_hz: float | None) -> None:
    """Property: of another tone beside them and of another length, too. To the last digit, but for
    lines at their middles, whose sums a linear algebra library makes in an order of its own."""
    rng = np.random.default_rng(2)
    volts = [sines(RATE, seconds, LINES | more) for seconds, more in (
        (1.0, {}), (1.0, {150.0: 1e-2}), (0.5, {}), (1.0, {1000.3: 0.1}),
    )]  # fmt: skip
    noisy = [one + rng.normal(0, 1e-5, len(one)) for one in volts]
    together, alone = ([track(one, RATE) for one in noisy] for _ in range(2))
    seek_tone_of_each(together, 1000.0, mains_hz)
    for one, other in zip(together, alone, strict=True):
        seen, known = (seek_tone(each, 1000.0, mains_hz) for each in (one, other))
        assert (seen.noise == known.noise).all()
        assert (seen.hidden.square == known.hidden.square).all()
        assert (seen.hidden.blind == known.hidden.blind).all()
        assert seen.fundamental == known.fundamental
        for order in (2, 3):
            line, expected = seen.harmonics(order).one(order), known.harmonics(order).one(order)
            assert line.value == pytest.approx(expected.value, rel=1e-12)
