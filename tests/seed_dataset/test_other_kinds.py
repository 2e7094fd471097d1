"""Units of other kinds than amplifiers on the demonstration, beside what was simulated."""

from __future__ import annotations

import polars as pl
import pytest

import backbench
from backbench.documents.kinds import unit_kinds
from backbench.seed_dataset import scenario
from backbench.seed_dataset.rig import Figure
from backbench.seed_dataset.rigs import rig_of
from demonstration import Demo


@pytest.fixture(scope="module")
def readings(demo: Demo) -> pl.DataFrame:
    return backbench.open(demo.folder).readings()


def rows_of(readings: pl.DataFrame, review: str, figure: Figure) -> list[dict[str, float]]:
    return readings.filter(
        pl.col("review_key") == review, pl.col("metric") == figure.metric,
        pl.col("output") == figure.output, pl.col("value").is_not_null(),
        pl.col("bound").is_null(), pl.col("detail").str.contains(figure.detail, literal=True),
        *(pl.col(name) == value for name, value in figure.at.items()),
    ).to_dicts()  # fmt: skip


def test_figures_hold_what_was_simulated(demo: Demo, readings: pl.DataFrame) -> None:
    """Within three standard uncertainties and what the simulation leaves open."""
    others = [review for review in demo.scenario.reviews if rig_of(review)]
    assert len({review.units[0].kind for review in others}) >= 2
    for review in others:
        rig = rig_of(review)
        assert rig is not None
        for figure in rig.figures():
            found = rows_of(readings, review.key, figure)
            assert found, (review.key, figure)
            for row in found:
                apart = abs(row["value"] - figure.value)
                assert apart <= 3 * row["uncertainty"] + figure.within, (review.key, figure, row)


def test_every_kind_but_other_is_on_the_shelf() -> None:
    groups = {unit_kinds()[unit.kind].group for unit in scenario().units}
    assert groups == {kind.group for kind in unit_kinds().values()} - {"other"}
