"""Reading a response: at a frequency, its spread, where it crosses a level."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backbench.errors import Refusal
from backbench.signal.response import HALF_POWER_DB, Response, greatest, resolution


def low_pass(corner_hz: float, step: float = 24, u: float = 0.0) -> Response:
    """First order, 10 Hz to 100 kHz, on a grid of `step` points an octave."""
    hz = 10 * 2 ** (np.arange(13.2 * step) / step)
    return Response(hz, -10 * np.log10(1 + (hz / corner_hz) ** 2), np.full(len(hz), u))


@given(st.floats(200, 50_000))
def test_a_first_order_corner_is_found(corner_hz: float) -> None:
    result = low_pass(corner_hz).falls_to(-HALF_POWER_DB, 20, upward=True)
    assert result.within
    assert result.hz == pytest.approx(corner_hz, rel=1e-4)


def test_coarse_points_widen_the_uncertainty() -> None:
    result = low_pass(5000, step=1).falls_to(-HALF_POWER_DB, 20, upward=True)
    assert result.u > 0
    assert abs(result.hz - 5000) < 3 * result.u


def test_uncertainty_of_a_corner_follows_the_slope() -> None:
    """A first-order corner falls by 10 lg(e) = 4.343 dB for each factor of e."""
    result = low_pass(5000, u=0.1).falls_to(-HALF_POWER_DB, 20, upward=True)
    assert result.u == pytest.approx(5000 * 0.1 / (10 * math.log10(math.e)), rel=0.01)


@pytest.mark.parametrize(("upward", "edge"), [(False, 10.0), (True, 100.0)])
def test_a_corner_outside_the_band_is_the_bands_edge(upward: bool, edge: float) -> None:
    flat = Response(np.array([10.0, 50.0, 100.0]), np.zeros(3), np.zeros(3))
    assert flat.falls_to(-HALF_POWER_DB, 30, upward=upward)[:] == (edge, 0.0, False)


def test_the_first_crossing_going_outward_counts() -> None:
    """Down at 2 kHz, up again, down at 20 kHz: the band ends at the first."""
    hz = np.array([500, 1000, 1500, 2500, 4000, 10_000, 30_000.0])
    db = np.array([0, 0, 0, -6, 0, 0, -20.0])
    result = Response(hz, db, np.zeros(7)).falls_to(-3, 1000, upward=True)
    assert 1500 < result.hz < 2500


def test_spread_is_greatest_less_least_within_the_band() -> None:
    hz = np.array([10, 20, 100, 1000, 5000, 20_000, 40_000.0])
    level = Response(hz, np.array([-30, -2, 0.5, 0, 1, -1, -30.0]), np.full(7, 0.01))
    spread = level.spread(20, 20_000)
    assert spread.db == pytest.approx(3)
    assert spread.u == pytest.approx(0.01 * math.sqrt(2), rel=0.01)


def test_the_greatest_of_equals_is_held_by_the_limits_of_many() -> None:
    """Closed form: of n levels found alike, each below its limit with 0.975 to the power 1 / n."""
    result = greatest(np.full(50, 2.0), np.full(50, 0.1))
    assert result.low == pytest.approx(2 - 0.1 * NormalDist().inv_cdf(0.975 ** (1 / 50)))
    assert result.high == pytest.approx(2 + 0.1 * NormalDist().inv_cdf(0.975))
    assert greatest(np.array([2.0, 1.0]), np.full(2, 0.1)).level == pytest.approx((2.0, 0.1))


@pytest.mark.parametrize("ripple", [0.0, 0.1, 0.3, 1.0, 3.0])
@pytest.mark.parametrize("reading", ["spread", "deviation", "peak"])
def test_the_greatest_of_many_is_held_whatever_noise_adds(reading: str, ripple: float) -> None:
    """A sine of known height under noise of 0.1 dB, at 241 frequencies; 500 draws.

    The greatest found, told with its own uncertainty, is held in far fewer.
    """
    hz = np.geomspace(20, 20_000, 241)
    wave = ripple * np.sin(3 * np.log(hz / 20))
    truth = {"spread": np.ptp(wave), "deviation": np.abs(wave).max(), "peak": wave.max()}[reading]
    rng, held, naive = np.random.default_rng(7), 0, 0
    for _ in range(500):
        db = wave + 0.1 * rng.standard_normal(241)
        level = Response(hz, db, np.full(241, 0.1))
        raw = {"spread": np.ptp(db), "deviation": np.abs(db).max(), "peak": db.max()}[reading]
        result = {
            "spread": level.spread, "deviation": level.farthest,
            "peak": lambda low, high, of=level: of.highest(low, high)[0],
        }[reading](20, 20_000)  # fmt: skip
        held += abs(result.db - truth) <= 1.96 * result.u
        naive += abs(raw - truth) <= 1.96 * (math.hypot(0.1, 0.1) if reading == "spread" else 0.1)
    assert held >= 0.95 * 500
    assert naive < 0.8 * 500


def test_one_clear_peak_is_held_in_95_of_100() -> None:
    """No wider than it must be: 2,000 draws of a peak without a rival."""
    hz = np.geomspace(20, 20_000, 31)
    wave = np.where(np.arange(31) == 20, 2.0, 0.0)
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(2000):
        level = Response(hz, wave + 0.1 * rng.standard_normal(31), np.full(31, 0.1))
        result, (low, high) = level.highest(20, 20_000)
        held += abs(result.db - 2.0) <= 1.96 * result.u
        assert low < hz[20] < high
    assert 0.935 * 2000 < held < 0.965 * 2000


def test_outside_the_band_there_is_no_level() -> None:
    with pytest.raises(Refusal, match="outside the measured band"):
        low_pass(100).at(5)


@pytest.mark.parametrize("hz", [[100.0], [100.0, 100.0], [200.0, 100.0], [0.0, 10.0]])
def test_arrays_that_are_no_response_are_refused(hz: list[float]) -> None:
    with pytest.raises(Refusal):
        Response(np.array(hz), np.zeros(len(hz)), np.zeros(len(hz)))


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ([1.0, 2.0], 1 / math.sqrt(12)),
        ([1.5, 2.0], 0.1 / math.sqrt(12)),
        ([-0.25, 3.0], 0.01 / math.sqrt(12)),
        ([math.pi, 1.0], 0.0),
    ],
)
def test_printed_digits_have_a_rectangular_uncertainty(
    values: list[float], expected: float
) -> None:
    """Resolution q gives q / sqrt(12) (JCGM 100:2008, F.2.2.1; clause from memory)."""
    assert resolution(np.array(values)) == pytest.approx(expected)


@pytest.mark.parametrize("down_db", [HALF_POWER_DB, 1.0, 0.5])
def test_a_corner_in_noise_scatters_as_it_is_reported(down_db: float) -> None:
    """Scatter over the uncertainty given, 200 draws: 1 within 30 %, and no draw gives far too much.

    Where the slope is small, noise tilts the line between two neighbours more than the response.
    """
    rng, clean = np.random.default_rng(8), low_pass(9000.0, u=0.05)
    truth = 9000 * math.sqrt(10 ** (down_db / 10) - 1)
    result = []
    for _ in range(200):
        noisy = Response(clean.hz, clean.db + 0.05 * rng.normal(size=len(clean.hz)), clean.u_db)
        result.append(noisy.falls_to(-down_db, 1000, upward=True))
    assert np.std([(c.hz - truth) / c.u for c in result]) == pytest.approx(1, abs=0.3)
    widths = [c.u for c in result]
    assert max(widths) < 4 * np.median(widths)
