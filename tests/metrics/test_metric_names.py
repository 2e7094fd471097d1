"""Metrics named as people write them."""

from __future__ import annotations

import pytest

from backbench.metrics.metric_names import metric_key, unknown_metric
from backbench.metrics.registry import registry

WRITTEN = {
    "THD": "thd", "thd+n": "thd_n", "THD + N": "thd_n", "THD-N": "thd_n", "SNR": "snr",
    "Damping factor": "damping_factor", "damping-factor": "damping_factor",
    "Output power": "output_power", "DC offset": "dc_offset",
}  # fmt: skip


@pytest.mark.parametrize("text", WRITTEN)
def test_usual_writings_are_taken(text: str) -> None:
    assert metric_key(text) == WRITTEN[text]


def test_every_key_names_itself_and_every_title_its_own_metric_or_none() -> None:
    metrics = registry().metrics
    assert {name: metric_key(name) for name in metrics} == {name: name for name in metrics}
    for metric in metrics.values():
        result = metric_key(metric.title)
        assert result is None or metrics[result].title.lower() == metric.title.lower() or (
            result.replace("_", "") == "".join(c for c in metric.title.lower() if c.isalnum())
        )  # fmt: skip


def test_what_names_none_is_reported_with_what_is_near() -> None:
    assert metric_key("tdh") is None
    assert "thd" in unknown_metric("here", "tdh").remedy
