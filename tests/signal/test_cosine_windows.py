"""The windows' side lobes, closed-form transform and noise figures."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from backbench.signal.window import FOUR_TERMS, SEVEN_TERMS, window

N = 960


@pytest.mark.parametrize(("terms", "highest_db"), [(SEVEN_TERMS, -179.5), (FOUR_TERMS, -98.0)])
def test_side_lobes(terms: tuple[float, ...], highest_db: float) -> None:
    made = window(N, terms)
    fine = np.abs(np.fft.rfft(made.samples, 64 * N)) / made.total
    assert 20 * np.log10(fine[64 * made.half_width :].max()) < highest_db


@pytest.mark.parametrize("terms", [SEVEN_TERMS, FOUR_TERMS])
@given(offset=st.floats(-3.9, 3.9))
def test_kernel_is_the_transform(terms: tuple[float, ...], offset: float) -> None:
    made = window(N, terms)
    direct = np.sum(made.samples * np.exp(-2j * np.pi * offset * np.arange(N) / N))
    assert made.kernel(np.array([offset]))[0] == pytest.approx(abs(direct), rel=1e-9)


@pytest.mark.parametrize("terms", [SEVEN_TERMS, FOUR_TERMS])
@given(offset=st.floats(-0.74, 0.74))
def test_a_lines_place_comes_back_from_the_bins_beside_its_greatest(
    terms: tuple[float, ...], offset: float
) -> None:
    made = window(N, terms)
    below, above = made.kernel(np.array([-1 - offset, 1 - offset]))
    result = made.offset(np.array([np.log(above / below)]))
    assert result[0] == pytest.approx(offset, abs=1e-10)


@pytest.mark.parametrize("terms", [SEVEN_TERMS, FOUR_TERMS])
def test_one_line_is_placed_as_many_are(terms: tuple[float, ...]) -> None:
    made, ratios = window(N, terms), np.linspace(-4, 4, 201)
    each = [made.offset_of_one(ratio) for ratio in ratios.tolist()]
    assert each == pytest.approx(made.offset(ratios).tolist(), abs=1e-12)


def test_cosines_are_summed_as_defined() -> None:
    angle = 2 * np.pi * np.arange(N) / N
    direct = sum((-1) ** k * a * np.cos(k * angle) for k, a in enumerate(FOUR_TERMS))
    assert window(N, FOUR_TERMS).samples == pytest.approx(direct, abs=1e-14)


def test_noise_bandwidths() -> None:
    """From the coefficients: (a0^2 + sum a_k^2 / 2) / a0^2 bins."""
    for terms in (SEVEN_TERMS, FOUR_TERMS):
        expected = (terms[0] ** 2 + sum(a**2 for a in terms[1:]) / 2) / terms[0] ** 2
        assert window(N, terms).enbw == pytest.approx(expected, rel=1e-12)


def test_a_window_is_made_once() -> None:
    assert window(N) is window(N)
