"""Readings of the project's own circuits against what ngspice itself tells of them.

Source of every expected value: tests/simulated_circuits/own/*/truth.json, by ngspice (`fourier`,
`.ac`, `meas`) at the tolerance given there: relative, but absolute for decibels.
"""

from __future__ import annotations

import importlib.util
import json
import shutil
from typing import Any

import polars as pl
import pytest

from backbench.catalogue import Catalogue
from simulated import CIRCUITS, simulated_catalogue

OWN = CIRCUITS / "own"
CASES = ("line_stage", "follower_amplifier", "damped_network")
DECIBELS = {"gain", "harmonic", "response_at"}
Truth = dict[str, Any]


def truths() -> list[tuple[str, Truth]]:
    return [(c, t) for c in CASES for t in json.loads((OWN / c / "truth.json").read_text())]


def named(case_and_truth: tuple[str, Truth]) -> str:
    case, truth = case_and_truth
    more = truth.get("order_n") or truth.get("frequency_hz") or ""
    return f"{case}-{truth['file']}-{truth['metric']}-{more}"


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    catalogue = simulated_catalogue(tmp_path_factory.mktemp("own") / "catalogue")
    outcomes, refused = catalogue.ingest([OWN / case for case in CASES], history=False)
    assert not refused
    assert [outcome.failed for outcome in outcomes] == [()] * len(CASES)
    return catalogue


def reading(catalogue: Catalogue, case: str, truth: Truth) -> float:
    wanted = [pl.col(n) == truth[n] for n in ("metric", "order_n", "frequency_hz") if n in truth]
    rows = catalogue.readings().filter(
        pl.col("review_key") == f"own-{case.replace('_', '-')}", *wanted
    )
    if truth["file"]:
        captures = catalogue.captures().filter(pl.col("file") == truth["file"])
        rows = rows.join(captures.select("review_key", "analysis_key"),
                         on=["review_key", "analysis_key"])  # fmt: skip
    values = rows["value"].unique().to_list()
    assert len(values) == 1, f"{truth['metric']}: {values}"
    return float(values[0])


@pytest.mark.parametrize("known", truths(), ids=named)
def test_a_reading_is_what_the_simulator_tells(own: Catalogue, known: tuple[str, Truth]) -> None:
    case, truth = known
    allowed = truth["tol"] * (1 if truth["metric"] in DECIBELS else abs(truth["value"]))
    assert reading(own, case, truth) == pytest.approx(truth["value"], abs=allowed)


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
@pytest.mark.parametrize("case", CASES)
def test_a_fresh_run_tells_the_same(case: str) -> None:
    """Another version of the simulator may take other steps: three tenths of each tolerance."""
    path = CIRCUITS / "make_own.py"
    spec = importlib.util.spec_from_file_location("make_own", path)
    assert spec is not None
    assert spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    script.SETTLED_S = 0.02  # the capacitor is charged from the start: any later period is the same
    fresh, _ = script.truth_of(case)
    kept = json.loads((OWN / case / "truth.json").read_text())
    assert [t["metric"] for t in fresh] == [t["metric"] for t in kept]
    for now, then in zip(fresh, kept, strict=True):
        share = 0.3 * then["tol"] * (1 if then["metric"] in DECIBELS else abs(then["value"]))
        assert now["value"] == pytest.approx(then["value"], abs=share), then
