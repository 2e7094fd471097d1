"""A and C weighting against the printed table and against an independent library."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from ABC_weighting import get_zpk  # of the package sound-weighting-filters
from scipy.signal import freqs_zpk

from backbench.signal.weighting import F1, F2, F3, F4, a_weighting, c_weighting

TABLE = Path(__file__).parent / "tables" / "weighting_a_c_z.csv"
FACTORS = {"a": a_weighting, "c": c_weighting}


def decibels(curve: str, frequency_hz: np.ndarray) -> np.ndarray:
    return 20 * np.log10(FACTORS[curve](frequency_hz))


@pytest.mark.parametrize("curve", ["a", "c"])
def test_printed_table_is_met_after_rounding(curve: str) -> None:
    """IEC 61672-1:2013, Table 3 (second-hand, by way of an open library's test data).

    The table prints 0.1 dB at exact frequencies 1000 * 10^(n/10).
    """
    with TABLE.open() as file:
        rows = list(csv.DictReader(file))
    exact = np.array([float(row["exact_hz"]) for row in rows])
    printed = np.array([float(row[f"{curve}_table_db"]) for row in rows])
    assert len(rows) == 34
    assert np.all(np.abs(decibels(curve, exact) - printed) <= 0.05)


@pytest.mark.parametrize("curve", ["a", "c"])
def test_independent_library_agrees(curve: str) -> None:
    """Analogue poles of the package sound-weighting-filters, derived by another hand."""
    frequency = np.geomspace(1, 100_000, 500)
    _, response = freqs_zpk(*get_zpk(curve.upper()), worN=2 * np.pi * frequency)
    assert decibels(curve, frequency) == pytest.approx(20 * np.log10(np.abs(response)), abs=1e-8)


def test_pole_frequencies() -> None:
    """Values computed from the formulas of Annex E (formulas from memory)."""
    assert pytest.approx((20.598997, 107.652649, 737.862231, 12194.217148)) == (F1, F2, F3, F4)


@pytest.mark.parametrize(("curve", "expected"), [("a", -2.048), ("c", -3.450)])
def test_white_noise_through_the_weighting(curve: str, expected: float) -> None:
    """Computed by numerical integration of the formula, 20 Hz to 20 kHz."""
    frequency = np.linspace(20, 20_000, 200_001)
    mean = np.mean(FACTORS[curve](frequency) ** 2)
    assert 10 * np.log10(mean) == pytest.approx(expected, abs=1e-3)
