"""Steps of level are found where they are, whatever lies before, between and after them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backbench.errors import Refusal
from backbench.signal.level_steps import find_steps

RATE = 48_000.0
LEVELS = np.array([0.02, 0.05, 0.1, 0.2, 0.4, 0.7])


def stepped(
    lengths: list[float], *, lead_s: float = 0.0, tail_s: float = 0.0, hz: float = 1000.0,
    noise: float = 1e-4, gap_s: float = 0.0,
) -> tuple[np.ndarray, list[float]]:  # fmt: skip
    """Volts, and the times at which each level begins (and the last one ends)."""
    level = [np.zeros(round(lead_s * RATE))]
    edges = []
    for seconds, rms in zip(lengths, LEVELS, strict=True):
        edges.append(sum(map(len, level)) / RATE)
        level += [np.full(round(seconds * RATE), rms), np.zeros(round(gap_s * RATE))]
    edges.append(sum(map(len, level)) / RATE - gap_s)
    level.append(np.zeros(round(tail_s * RATE)))
    envelope = np.concatenate(level)
    time = np.arange(len(envelope)) / RATE
    rng = np.random.default_rng(7)
    wave = np.sqrt(2) * envelope * np.sin(2 * np.pi * hz * time)
    return wave + noise * rng.standard_normal(len(time)), edges


@given(
    st.lists(st.floats(0.9, 1.12), min_size=6, max_size=6),
    st.floats(0, 1.5),
    st.floats(0, 1.5),
)
@settings(max_examples=15, deadline=None)
def test_each_found_stretch_lies_within_its_own_step(
    lengths: list[float], lead_s: float, tail_s: float
) -> None:
    volts, edges = stepped(lengths, lead_s=lead_s, tail_s=tail_s)
    result = find_steps(volts, RATE, 1000.0, 1.0, 6)
    for step, begin, end, rms in zip(result, edges, edges[1:], LEVELS, strict=False):
        assert begin < step.first / RATE < step.last / RATE <= end
        assert step.level_db == pytest.approx(20 * np.log10(rms), abs=0.05)
        assert (step.last - step.first) / RATE > 0.5


def test_closed_form_of_exact_steps() -> None:
    volts, _ = stepped([1.0] * 6, noise=0.0)
    result = find_steps(volts, RATE, 1000.0, 1.0, 6)
    assert [s.first for s in result] == [round((k + 0.2) * RATE) for k in range(6)]
    assert [s.last for s in result] == [round((k + 0.95) * RATE) for k in range(6)]


def test_gaps_between_steps_and_a_generator_off_by_a_percent() -> None:
    volts, edges = stepped([1.0] * 6, gap_s=0.08, hz=1009.0, lead_s=0.4)
    result = find_steps(volts, RATE, 1000.0, 1.0, 6)
    for step, begin in zip(result, edges, strict=False):
        assert begin < step.first / RATE < step.last / RATE < begin + 1.03


def test_low_frequencies_have_longer_blocks() -> None:
    volts, edges = stepped([2.0] * 6, hz=20.0)
    result = find_steps(volts, RATE, 20.0, 2.0, 6)
    for step, begin in zip(result, edges, strict=False):
        assert begin < step.first / RATE < step.last / RATE <= begin + 2.0


def test_a_record_too_short_is_refused() -> None:
    volts, _ = stepped([0.5] * 6)
    with pytest.raises(Refusal, match="hold no 6 steps"):
        find_steps(volts, RATE, 1000.0, 1.0, 6)
