"""Slew factor: closed form of a rise with frequency, property, an own search, refusals, golden."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.metrics.session import Reading
from bench_readings import derived, one, reading, refused

RATED = {"rated_power_w": {"amp": 40.0}}
HIGH_HZ = (10_000.0, 20_000.0, 25_000.0, 30_000.0, 40_000.0, 50_000.0, 60_000.0)


def tones(percent_at_20k: float, power_w: float = 40.0, order: float = 2.0) -> list[Reading]:
    """THD that rises with a power of the frequency, from the rated power's input."""
    return [
        reading("thd", 0.05, 0.01, frequency_hz=1000.0, power_w=power_w),
        *(reading("thd", percent_at_20k * (hz / 20e3) ** order, 1e-4, frequency_hz=hz, power_w=30.0)
          for hz in HIGH_HZ),
    ]  # fmt: skip


@pytest.mark.parametrize("percent", [0.3, 0.5, 0.9])
def test_closed_form_of_a_square_law(percent: float) -> None:
    """percent (f / 20 kHz)^2 = 1 at f / 20 kHz = percent^-1/2."""
    figure = one("slew_factor", tones(percent), **RATED).figure
    assert abs(figure.value - percent**-0.5) < 2 * figure.uncertainty
    assert figure.bound is None


@settings(max_examples=20)
@given(st.floats(0.15, 0.95), st.floats(1.0, 3.0))
def test_more_distortion_never_gives_a_greater_factor(percent: float, order: float) -> None:
    less, more = (
        one("slew_factor", tones(p, order=order), **RATED).figure.value
        for p in (percent, min(1.05 * percent, 0.97))
    )
    assert more <= less


def test_the_edge_is_between_the_tones_that_a_plain_search_finds() -> None:
    found = one("slew_factor", tones(0.4), **RATED).figure
    within = [hz for hz in HIGH_HZ if 0.4 * (hz / 20e3) ** 2 <= 1.0]
    beyond = [hz for hz in HIGH_HZ if hz not in within]
    assert max(within) / 20e3 < found.value < min(beyond) / 20e3


def test_a_bound_where_none_is_beyond() -> None:
    figure = one("slew_factor", tones(0.01), **RATED).figure
    assert (figure.value, figure.bound) == (3.0, "lower")


def test_what_tells_none() -> None:
    assert derived("slew_factor", tones(0.3)) == []
    assert derived("slew_factor", tones(0.3, power_w=20.0), **RATED) == []
    assert derived("slew_factor", tones(0.3)[:3], **RATED) == []
    early = refused("slew_factor", tones(5.0), **RATED)
    assert "at the lowest frequency above 10 kHz" in early.reason


def test_golden() -> None:
    figure = one("slew_factor", tones(0.5), **RATED).figure
    assert figure.value == pytest.approx(math.sqrt(25e3 * 30e3) / 20e3, rel=1e-9)
    assert figure.uncertainty == pytest.approx(0.0720689, rel=1e-5)
