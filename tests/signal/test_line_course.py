"""Lines fitted block by block, against a plain least-squares fit of the same sinusoids."""

from __future__ import annotations

import numpy as np
import pytest

from backbench.signal.line_course import line_course, line_courses, means_of
from backbench.signal.line_wavering import wavering_of_each
from backbench.signal.track import Array


def plain_fit(
    volts: Array, rate_hz: float, lines_hz: Array, length: int, few: int
) -> tuple[Array, Array]:
    """Peaks by block and line, and what is left by block, of means of few neighbours.

    They are fitted with the means of the same neighbours of sinusoids.
    """
    t = (np.arange(length) - (length - 1) / 2) / rate_hz
    turns = 2 * np.pi * np.outer(t, lines_hz)
    basis = np.column_stack([np.ones(length), np.cos(turns), np.sin(turns)])
    basis = basis.reshape(-1, few, basis.shape[1]).mean(axis=1)
    blocks = volts[: len(volts) // length * length].reshape(-1, length // few, few).mean(axis=2)
    parts = np.linalg.lstsq(basis, blocks.T, rcond=None)[0]
    count = len(lines_hz)
    return np.hypot(parts[1 : count + 1], parts[count + 1 :]).T, blocks - (basis @ parts).T


@pytest.mark.parametrize(
    ("rate_hz", "count", "lines_hz"),
    [
        (48_000.0, 24_007, [997.0]),
        (96_000.0, 50_000, [1000.3, 2000.6, 3000.9]),
        (192_000.0, 96_011, [61.0, 7003.0, 7064.0]),
        (192_000.0, 60_000, [440.0, 1000.0, 1100.0, 9000.0, 19_000.0]),
    ],
)
def test_a_block_gives_what_a_plain_fit_gives(
    rate_hz: float, count: int, lines_hz: list[float]
) -> None:
    rng, hz = np.random.default_rng(count), np.array(lines_hz)
    t = np.arange(count) / rate_hz
    volts = sum(np.cos(2 * np.pi * f * t + f) for f in hz) + 0.2 + rng.normal(0, 1e-3, count)
    course = line_course(volts, rate_hz, hz)
    few = max(int(rate_hz / 41_800), 1)
    peaks, left = plain_fit(volts, rate_hz, hz, course.length, few)
    assert np.abs(course.phasors) == pytest.approx(peaks, rel=1e-9)
    within = left.shape[1] // course.left.shape[1]
    left = left[:, : within * course.left.shape[1]]
    squares = np.square(left).reshape(*course.left.shape, within).mean(axis=2)
    assert course.left == pytest.approx(squares, rel=1e-6)


def test_records_together_give_what_each_gives_alone() -> None:
    """Property: of one length with as many lines, of one with more, and of another length."""
    rng, rate_hz = np.random.default_rng(7), 96_000.0
    lines = [[997.0], [997.3], [440.0, 1000.0], [997.0]]
    each = [
        (rng.normal(0, 1, count), np.array(hz))
        for hz, count in zip(lines, (48_000, 48_000, 48_000, 30_011), strict=True)
    ]
    for course, (volts, hz) in zip(line_courses(each, rate_hz), each, strict=True):
        alone = line_course(volts, rate_hz, hz)
        assert course.length == alone.length
        assert course.phasors == pytest.approx(alone.phasors, rel=1e-12)
        assert course.left == pytest.approx(alone.left, rel=1e-12)
        assert course.offset == pytest.approx(alone.offset, rel=1e-9)


@pytest.mark.parametrize("few", [1, 2, 3, 4, 6, 8, 12])
def test_means_of_neighbours(few: int) -> None:
    """Closed form: numpy's own mean of each row."""
    volts = np.random.default_rng(few).normal(size=12 * 31 + 5)
    whole = volts[: len(volts) // few * few].reshape(-1, few).mean(axis=1)
    assert means_of(volts, few) == pytest.approx(whole, rel=1e-12, abs=1e-15)


def test_the_wavering_of_each_line_is_that_of_it_alone() -> None:
    rate_hz = 8000.0
    t = np.arange(8000) / rate_hz
    turned = 0.02 * np.sin(2 * np.pi * 3 * t)
    volts = np.cos(2 * np.pi * 50 * t + turned) + (0.2 + 0.05 * t) * np.cos(2 * np.pi * 150 * t)
    lines_hz = np.array([50.0, 150.0])
    course = line_course(volts, rate_hz, lines_hz)
    other = line_course(volts, rate_hz, lines_hz[::-1].copy())
    assert wavering_of_each(course) == pytest.approx([course.wavering, other.wavering], rel=1e-9)
