"""Medians that hold whatever bounds hide, and the units that have bounds."""

from __future__ import annotations

import polars as pl

from backbench.charts.bounded_values import limited_units, median_text


def _rows(*values: tuple[float, str | None]) -> list[dict[str, float | str | None]]:
    return [{"value": value, "bound": bound} for value, bound in values]


def test_a_median_among_bounds_is_told_as_one() -> None:
    assert median_text(_rows((1, None), (2, None), (9, "lower")), "V") == "2\u00a0V"
    assert median_text(_rows((1, None), (2, "lower"), (9, "lower")), "V") == "at least 2\u00a0V"
    assert median_text(_rows((1, "upper"), (2, "upper"), (9, None)), "V") == "at most 2\u00a0V"
    assert median_text(_rows((1, "upper"), (2, "upper"), (9, "lower")), "V") == "at most 2\u00a0V"
    assert median_text(_rows((1, "upper"), (9, "lower")), "V") == ""


def test_units_with_bounds_are_counted_and_named() -> None:
    frame = pl.DataFrame(
        {"unit_key": [*"abcdef"], "label": [*"ABCDEF"],
         "bound": ["upper", None, "lower", "upper", "upper", ""]}
    )  # fmt: skip
    assert limited_units(frame) == (
        "beyond what bench or record can see: 4 of 6 units (A, C, D and 1 more)"
    )
    assert limited_units(frame.filter(pl.col("unit_key") == "a")) == ""
    assert limited_units(frame.filter(pl.col("unit_key").is_in(["b", "f"]))) == ""
    assert limited_units(frame.drop("bound")) == ""
    assert limited_units(frame.with_columns(pl.col("label").alias("metric"))) == ""
