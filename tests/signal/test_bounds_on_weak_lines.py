"""Bounds on lines that don't stand out hold in 99 of 100 records, by simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest

from backbench.signal.power import MeanSquare, line_power
from backbench.signal.uncertainty import ONE_SIDED
from backbench.signal.window import SEVEN_TERMS, window

SAMPLES, PLACE, RECORDS = 256, 60.5, 4000
WINDOW = window(SAMPLES, SEVEN_TERMS)


@pytest.fixture(scope="module")
def noise() -> np.ndarray:
    """Transforms of white noise around a place, in units of its own mean power by bin."""
    volts = np.random.default_rng(11).normal(size=(RECORDS, SAMPLES))
    bins = np.fft.rfft(volts * WINDOW.samples)[:, _lobe()]
    return bins / math.sqrt(float(np.mean(np.abs(bins) ** 2)))


def _lobe() -> slice:
    return slice(math.ceil(PLACE - WINDOW.half_width), math.floor(PLACE + WINDOW.half_width) + 1)


def _with_line(noise: np.ndarray, square: float) -> list[MeanSquare]:
    """What is read of a line of this mean square, in any phase, in each record."""
    turns = 2 * np.pi * np.arange(SAMPLES) * PLACE / SAMPLES
    line = np.fft.rfft(np.exp(1j * turns).real * WINDOW.samples)[_lobe()]
    line *= math.sqrt(square / float(np.sum(np.abs(line) ** 2)))
    phases = np.exp(2j * np.pi * np.random.default_rng(12).random((len(noise), 1)))
    powers, flat = np.abs(noise + line * phases) ** 2, np.ones(len(line))
    return [line_power(power, flat, WINDOW.spread, math.inf) for power in powers]


def test_the_deviate_is_that_of_the_normal_distribution() -> None:
    """Handbook: 99 % of a normal distribution lies below 2.326 standard deviations."""
    assert math.erf(ONE_SIDED / math.sqrt(2)) == pytest.approx(0.98, abs=2e-5)


@pytest.mark.parametrize("beyond_db", [0.05, 1.0])
def test_a_line_beyond_the_bound_stands_out_in_99_of_100_records(
    noise: np.ndarray, beyond_db: float
) -> None:
    bound = _with_line(noise[:1], 0.0)[0].at_most
    read = _with_line(noise, bound**2 * 10 ** (beyond_db / 10))
    missed = [line for line in read if not line.stands_out]
    assert len(missed) <= 0.01 * len(read)


def test_a_line_well_below_the_bound_is_often_missed(noise: np.ndarray) -> None:
    """So that the bound is no looser than it needs to be."""
    bound = _with_line(noise[:1], 0.0)[0].at_most
    read = _with_line(noise, bound**2 * 10**-0.3)
    assert sum(not line.stands_out for line in read) > 0.03 * len(read)


@pytest.mark.parametrize("square", [20.0, 60.0, 200.0, 1000.0])
def test_what_lines_are_lifted_to_at_most_holds_in_99_of_100(
    noise: np.ndarray, square: float
) -> None:
    read = _with_line(noise, square)
    wrong = [line for line in read if line.lifted_at_most**2 < square]
    assert len(wrong) <= 0.01 * len(read)
