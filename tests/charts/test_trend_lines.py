"""The lines of a trend chart: drawn where the comparison sees a relation, under the same words."""

from __future__ import annotations

import json

import numpy as np
import polars as pl
import pytest

from backbench.charts.drawing import Labels, PlainColumn
from backbench.charts.registry import charts

LABELS = Labels(
    [PlainColumn("x", "", "Year of making"), PlainColumn("y", "µV", "Noise")], "Noise over years"
)


def frame(y: list[float], technology: list[str] | None = None) -> pl.DataFrame:
    count = len(y)
    return pl.DataFrame(
        {
            "unit_key": [f"u{k}" for k in range(count)],
            "label": [f"Unit {k}" for k in range(count)],
            "technology": technology or ["tube"] * count,
            "x": [1950.0 + k for k in range(count)],
            "y": y,
            "y_low": [None] * count,
            "y_high": [None] * count,
        },
        schema_overrides={"y_low": pl.Float64, "y_high": pl.Float64},
    )


def drawn(rows: pl.DataFrame, scale: str = "linear") -> tuple[str, int]:
    """The chart's text, and how many lines it has."""
    spec = charts()["trend"].draw(rows, LABELS, options={"scale": scale}).to_dict()
    lines = [one for one in spec["layer"] if one["mark"]["type"] == "line"]
    return json.dumps(spec, ensure_ascii=False), len(lines)


@pytest.mark.parametrize("scale", ["linear", "log"])
@pytest.mark.parametrize("seed", range(6))
def test_heading_lines_and_slope_agree(scale: str, seed: int) -> None:
    rng = np.random.default_rng(seed)
    y = np.exp(0.02 * seed * np.arange(14) + rng.normal(0, 0.4, 14))
    text, lines = drawn(frame(y.tolist()), scale)
    seen = "tends to be" in text
    assert seen != ("no relation to year of making is seen over 14 units" in text)
    assert seen == (lines > 0) == ("95 % interval" in text)
    assert seen != ("no relation seen: " in text)


def test_no_line_over_all_where_groups_differ_in_level() -> None:
    low, high = [1.0 + 0.1 * k for k in range(10)], [101.0 + 0.1 * k for k in range(10)]
    text, lines = drawn(frame(low + high, ["tube"] * 10 + ["solid state"] * 10))
    assert "no line over all units: technologies differ" in text
    assert lines == 2


def test_a_line_of_equal_values_or_few_units_has_its_reason() -> None:
    assert "no trend line: all values are equal" in drawn(frame([2.0] * 12))[0]
    assert "no trend line: fewer than 10 units" in drawn(frame([1.0, 2.0, 3.0]))[0]
