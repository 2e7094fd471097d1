"""A figure over the years: marks are the rows, medians those that bounds leave known."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from backbench.charts.bounded_values import known_median
from backbench.charts.drawing import Labels
from backbench.charts.registry import charts
from backbench.charts.timeline import Decade, decades
from backbench.charts.unchecked import specification


def _rows(values: list[float], bounds: list[str | None]) -> list[dict[str, object]]:
    return [{"year": 1960.0 + k, "value": v, "bound": b}
            for k, (v, b) in enumerate(zip(values, bounds, strict=True))]  # fmt: skip


def test_a_median_that_bounds_could_move_is_not_known() -> None:
    assert known_median(_rows([1.0, 2.0, 3.0], [None, None, None])) == 2.0
    assert known_median(_rows([1.0, 2.0, 3.0], ["upper", None, None])) == 2.0
    assert known_median(_rows([1.0, 2.0, 3.0], [None, "upper", None])) is None
    assert known_median(_rows([1.0, 2.0, 3.0], [None, None, "upper"])) is None
    assert known_median(_rows([1.0, 2.0, 3.0], [None, None, "lower"])) == 2.0


def test_medians_are_those_of_numpy() -> None:
    values = [float(v) for v in np.random.default_rng(3).normal(size=25)]
    found = decades(_rows(values, [None] * 25))
    assert found == [
        Decade(1960, 10, pytest.approx(np.median(values[:10]))),
        Decade(1970, 10, pytest.approx(np.median(values[10:20]))),
        Decade(1980, 5, pytest.approx(np.median(values[20:]))),
    ]
    assert decades(_rows([1.0, 2.0], [None, None])) == []


def test_every_unit_stands_at_its_year_and_value(frames: dict[str, pl.DataFrame]) -> None:
    frame = frames["timeline"]
    spec = specification(charts()["timeline"].draw(frame, Labels(), "u0"))
    rows = [row for data in spec["datasets"].values() for row in data]
    drawn = {row["unit_key"]: row for row in rows if "value_text" in row}
    for row in frame.to_dicts():
        assert drawn[row["unit_key"]]["year"] == row["year"]
        assert drawn[row["unit_key"]]["value"] == pytest.approx(row["value"], rel=1e-6)
    assert drawn["u0"]["value_text"].endswith("made 1950 to 1954")
    assert drawn["u1"]["value_text"] == "≤\u00a011\u00a0µV; made 1952"
    # 10, 11 at most, 12, 13 and 14 µV of the fifties: 12 µV whatever the bound hides.
    assert spec["description"].startswith(
        "Quarrel M-10: noise 10.00\u00a0µV; median of 5 made in the 1950s 12\u00a0µV"
    )
