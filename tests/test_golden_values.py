"""Which metrics have a golden value, and which are named by a test of their own."""

from __future__ import annotations

import re
from pathlib import Path

from backbench.metrics.registry import registry
from golden_readings import metrics_with_one

TESTS = Path(__file__).parent
IN_A_TEST = {"overload_recovery", "slew_factor"}
"""Metrics whose golden value stands in their own test."""
WITHOUT = {"dropout_depth", "dropout_length", "power_bandwidth_high", "power_bandwidth_low"}
"""Metrics of which no day has a value: to be made fewer."""
BY_THEIR_FAMILY = {
    "response_high_1db", "response_high_half_db", "response_low_1db", "response_low_half_db",
    "distortion_drift", "distortion_drift_rate", "noise_drift", "noise_drift_rate",
    "medium_snr_a", "if_rejection",
}  # fmt: skip
"""Metrics that tests name by a pattern, or hold beside another metric of one function."""


def test_which_metrics_have_a_golden_value() -> None:
    assert set(registry().metrics) - metrics_with_one() - IN_A_TEST == WITHOUT


def test_golden_values_are_of_the_method_versions_in_force() -> None:
    """The values themselves are compared where their day is simulated."""
    metrics = registry().metrics
    assert metrics_with_one() <= set(metrics)


def test_every_metric_is_named_by_a_test() -> None:
    texts = [path.read_text() for path in TESTS.rglob("test_*.py") if path != Path(__file__)]
    words = {word for text in texts for word in re.findall(r"[a-z0-9_]+", text)}
    assert set(registry().metrics) - words - BY_THEIR_FAMILY == set()
