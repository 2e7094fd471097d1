"""Steps of a bench: which metrics they touch, and when they are too small to tell."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

import pytest

from backbench.comparison.drift import LevelChange
from backbench.comparison.drift_effects import effect
from backbench.comparison.unit_comparison import compare_unit
from backbench.storage.database import reading

DAYS = dt.date(2020, 5, 1), dt.date(2020, 6, 1)
GAIN = LevelChange("b1", "loop-back gain at 1 kHz, left", *DAYS, 0.0, 20.0, "dB")
RESIDUAL = LevelChange("b1", "loop-back THD+N at 1 kHz, left", *DAYS, 0.001, 0.003, "%")
NOISE = LevelChange("b1", "loop-back noise, A-weighted, left", *DAYS, 3.0, 5.0, "µV")


@pytest.mark.parametrize(
    ("step", "metric", "value", "wanted"),
    [
        (GAIN, "noise_a", 1e-3, 9e-3), (GAIN, "power_at_limit", 10.0, 990.0),
        (GAIN, "gain", 30.0, 20.0), (GAIN, "thd", 0.1, None), (GAIN, "damping_factor", 9, None),
        (GAIN, "input_referred_noise", 1e-6, None), (RESIDUAL, "thd_n", 0.1, 0.002),
        (RESIDUAL, "noise_a", 1e-4, None), (NOISE, "noise", 3e-6, 2e-6),
        (NOISE, "thd", 0.1, None), (NOISE, "snr_1w", 20 * math.log10(8**0.5 / 3e-6), 4.436975),
    ],
)  # fmt: skip
def test_what_a_step_touches(
    step: LevelChange, metric: str, value: float, wanted: float | None
) -> None:
    """Ratios of one capture aren't moved by gain; 4 uV of new noise makes 3 uV into 5 uV, which
    are 20 lg (5/3) = 4.437 dB."""
    result = effect(step, metric, value)
    assert result == (None if wanted is None else pytest.approx(wanted, rel=1e-6))


def across(given: Any, thd_n: dict[str, float], residuals: tuple[float, float]) -> list[str]:
    """Notes of unit "early" where the loop-back's residual stepped between May and June."""
    for month in range(1, 11):
        given.review(f"r{month}", f"2020-{month:02}-01")
        value = residuals[month > 5] * (1 + 1e-3 * (month % 3))
        given.reading("", "thd_n", value, 1e-6, review=f"r{month}", load_ohm=None)
    for key, value in thd_n.items():
        given.unit(key, "r2" if key == "early" else "r9")
        given.reading(key, "thd_n", value, 1e-4, review="r2" if key == "early" else "r9")
    with reading(given.build()) as store:
        return [note for note in compare_unit(store, "early").notes if "moved" in note]


def test_a_step_that_is_small_against_the_difference_is_not_reported(given: Any) -> None:
    assert across(given, {"early": 0.1, "late": 0.2}, (0.0003, 0.00037)) == []


def test_a_step_that_is_small_against_the_uncertainty_is_not_reported(given: Any) -> None:
    """1e-5 % of residual between two readings of 0.1 %, whose difference is known to 2.8e-4 %."""
    assert across(given, {"early": 0.1, "late": 0.1}, (0.0003, 0.00031)) == []


def test_a_step_that_matters_names_metric_and_peers(given: Any) -> None:
    (note,) = across(given, {"early": 0.1, "late": 0.11, "later": 0.9}, (0.0003, 0.0053))
    assert note.endswith("peers on the other side: thd n (1 peer)")
