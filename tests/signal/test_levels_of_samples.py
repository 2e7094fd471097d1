"""The quick look at the highest samples, before a lattice is sought among all of them."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from backbench.signal.word_length import CLEAR, LEVEL, _is_between_levels, _lattice

ROUNDED = 1e-7


def lattice(step: float, levels: int, off: float, seed: int) -> np.ndarray:
    """Samples on levels that are so many roundings apart, each off its own by so many at most."""
    rng = np.random.default_rng(seed)
    whole = rng.integers(-levels, levels + 1, 4096)
    return whole * step * ROUNDED + rng.uniform(-off, off, 4096) * ROUNDED


@given(
    step=st.floats(20.0, 1e5),
    levels=st.integers(8, 5000),
    off=st.floats(0.0, 0.5),
    seed=st.integers(0, 2**16),
)
def test_no_lattice_is_taken_for_none(step: float, levels: int, off: float, seed: int) -> None:
    samples = lattice(step, levels, off, seed)
    assert not _is_between_levels(samples, ROUNDED)


@given(
    step=st.floats(1.0, 200.0),
    levels=st.integers(2, 5000),
    off=st.floats(0.0, 30.0),
    seed=st.integers(0, 2**16),
)
def test_what_it_tells_all_samples_tell(step: float, levels: int, off: float, seed: int) -> None:
    """Neighbours among all samples, sorted, are what the definition of a lattice rules out."""
    samples = lattice(step, levels, off, seed)
    if _is_between_levels(samples, ROUNDED):
        apart = np.diff(np.sort(samples))
        assert np.any((apart > LEVEL * ROUNDED) & (apart < CLEAR * ROUNDED))
        assert _lattice(samples, ROUNDED) == 0.0


def test_a_wave_is_told_from_its_top() -> None:
    wave = np.sin(np.arange(4096) * 0.01937)
    assert _is_between_levels(wave, ROUNDED)
