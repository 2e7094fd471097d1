"""Figures of amplifiers on the demonstration, beside what the model of each knows of itself."""

from __future__ import annotations

from collections.abc import Iterator

import polars as pl
import pytest

import backbench
from backbench.seed_dataset.rigs import rig_of
from backbench.seed_dataset.scenario import Review
from backbench.seed_dataset.truth import OutputTruth, truth
from demonstration import Demo

MARGIN = 3.0
"""Standard uncertainties; of some hundred figures none lies farther off by chance."""


@pytest.fixture(scope="module")
def readings(demo: Demo) -> pl.DataFrame:
    rows = backbench.open(demo.folder).readings()
    return rows.filter(
        pl.col("value").is_not_null(), pl.col("status") != "entered", pl.col("driven").is_null()
    )


def known(review: Review, output: OutputTruth) -> Iterator[tuple[str, float, dict[str, float]]]:
    """Metric, value and conditions; corners where controls and loudness stayed flat."""
    at_1_khz, limit = {"frequency_hz": 1000.0}, {"limit_percent": 1.0, "load_ohm": 8.0}
    yield "source_impedance", output.source_impedance_ohm, at_1_khz
    yield "noise", output.noise_v, {}
    if not review.extras & {"controls", "loudness"}:
        at_load = {} if output.power_at_1_percent_w is None else {"load_ohm": 8.0}
        yield "response_low_3db", output.low_3db_hz, at_load
        yield "response_high_3db", output.high_3db_hz, at_load
    if output.power_at_1_percent_w is not None:
        yield "power_at_limit", output.power_at_1_percent_w, limit


def holds(row: dict[str, object], value: float) -> bool:
    found, u = float(row["value"]), MARGIN * float(row["uncertainty"])  # type: ignore[arg-type]
    if row["bound"] == "upper":
        return value <= found + u
    return value >= found - u if row["bound"] == "lower" else abs(found - value) <= u


def recorded(demo: Demo) -> list[Review]:
    return [
        review for review in demo.scenario.reviews
        if rig_of(review) is None and not review.is_typed
        and "wrong-load" not in review.extras
    ]  # fmt: skip


def test_figures_hold_the_truth(demo: Demo, readings: pl.DataFrame) -> None:
    """Impedance, noise, corners and power; every figure of them, bounds as bounds."""
    missed, seen = [], 0
    for review in recorded(demo):
        for output in truth(review.key).outputs:
            own = readings.filter(
                pl.col("review_key") == review.key, pl.col("unit_key") == output.unit,
                pl.col("output") == output.output,
            )  # fmt: skip
            for metric, value, at in known(review, output):
                rows = own.filter(
                    pl.col("metric") == metric, *(pl.col(name) == one for name, one in at.items())
                )
                seen += rows.height
                missed += [
                    (review.key, output.output, metric, value, row["value"], row["uncertainty"])
                    for row in rows.to_dicts()
                    if not holds(row, value)
                ]
    assert seen > 100
    assert missed == []
