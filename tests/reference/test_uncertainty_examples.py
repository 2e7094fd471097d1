"""Worked examples of the GUM, and certified statistics of NIST."""

from __future__ import annotations

import csv
import math
from collections import defaultdict
from pathlib import Path

import pytest
from scipy.stats import t as student

from backbench.signal.uncertainty import Contribution, combine, correlated, spread

TABLES = Path(__file__).parent / "tables"


def test_end_gauge_calibration() -> None:
    """JCGM 100:2008, H.1 (contributions in nm from memory; results second-hand): u_c 32 nm as
    printed (31.7 before rounding up), 16 degrees of freedom, U99 93 nm.
    """
    theta = 50_000_623 * 11.5e-6 * 0.029
    result = combine(
        [
            Contribution(25.0, 18),
            Contribution(9.7, 25.6),
            Contribution(2.9, 50),
            Contribution(theta, 2),
        ]
    )
    assert result.u == pytest.approx(31.71, abs=5e-3)
    assert result.dof == pytest.approx(16.66, abs=5e-3)
    assert student.ppf(0.995, 16) == pytest.approx(2.92, abs=1e-3)
    assert round(student.ppf(0.995, 16) * result.u) == 93


VOLTS, AMPERES, PHI = 4.9990, 0.0196610, 1.044446
U = (0.00320936, 9.47101e-6, 0.000752064)
R = {(0, 1): -0.355311, (0, 2): 0.857624, (1, 2): -0.645111}
"""JCGM 100:2008, H.2: means of five readings with their uncertainties and correlations, more
digits than printed (printed: 0.0032, 9.5e-6, 0.00075; -0.36, 0.86, -0.65)."""


@pytest.mark.parametrize(
    ("value", "by", "expected", "u"),
    [
        (
            VOLTS / AMPERES * math.cos(PHI),
            (1 / VOLTS, -1 / AMPERES, -math.tan(PHI)),
            127.732,
            0.071,
        ),
        (
            VOLTS / AMPERES * math.sin(PHI),
            (1 / VOLTS, -1 / AMPERES, 1 / math.tan(PHI)),
            219.847,
            0.295,
        ),
        (VOLTS / AMPERES, (1 / VOLTS, -1 / AMPERES, 0.0), 254.260, 0.236),
    ],
)
def test_resistance_and_reactance(
    value: float, by: tuple[float, float, float], expected: float, u: float
) -> None:
    """JCGM 100:2008, H.2 (second-hand): R 127.732 (0.071), X 219.847 (0.295), Z 254.260 (0.236)
    ohm. The mean phase is held to its own digits: 1.04446 as printed; u(X) computes to 0.2956.
    """
    parts = [value * c * own for c, own in zip(by, U, strict=True)]
    assert value == pytest.approx(expected, abs=5e-3)
    assert correlated(parts, R) == pytest.approx(u, abs=1e-3)


def test_without_correlation_it_is_the_root_sum_of_squares() -> None:
    parts = [3.0, -4.0]
    assert correlated(parts, {}) == combine([Contribution(3.0), Contribution(4.0)]).u == 5.0
    assert correlated(parts, {(0, 1): 1.0}) == pytest.approx(1.0)


def datasets() -> dict[str, list[float]]:
    result: dict[str, list[float]] = defaultdict(list)
    with (TABLES / "nist_univariate_data.csv").open() as file:
        for row in csv.DictReader(file):
            result[row["dataset"]].append(float(row["value"]))
    # NumAcc by their rule (from memory).
    result["NumAcc1"] = [10_000_001.0, 10_000_003.0, 10_000_002.0]
    for name, middle in (("NumAcc2", 1.2), ("NumAcc3", 1_000_000.2), ("NumAcc4", 10_000_000.2)):
        result[name] = [middle] + [middle - 0.1, middle + 0.1] * 500
    return result


def certified(name: str, quantity: str) -> float:
    with (TABLES / "nist_strd_certified.csv").open() as file:
        rows = [
            r for r in csv.DictReader(file) if (r["dataset"], r["quantity"]) == (name, quantity)
        ]
    return float(rows[0]["certified"])


@pytest.mark.parametrize("name", sorted(datasets()))
def test_mean_and_standard_deviation_are_the_certified_ones(name: str) -> None:
    """NIST StRD, univariate (data and certified values second-hand). NumAcc3 and 4 reach 3.5e-10
    and 5.6e-9 only: their values are not exact in binary.
    """
    mean, deviation = spread(datasets()[name])
    inexact = {"NumAcc3": 1e-9, "NumAcc4": 1e-8}
    assert mean == pytest.approx(certified(name, "mean"), rel=1e-14)
    assert deviation == pytest.approx(certified(name, "sd_n-1"), rel=inexact.get(name, 1e-13))
