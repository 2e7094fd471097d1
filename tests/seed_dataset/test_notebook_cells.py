"""The notebook's cells run, one after the other, on a real catalogue."""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl
import pytest

from backbench.catalogue import Catalogue

NOTEBOOK = Path(__file__).parents[2] / "seed_dataset" / "notebooks" / "catalogue.ipynb"


def test_every_cell_runs(measured: Catalogue, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BACKBENCH_CATALOGUE", str(measured.places.root))
    cells = json.loads(NOTEBOOK.read_text(encoding="utf-8"))["cells"]
    names: dict[str, object] = {}
    ran = 0
    for cell in cells:
        if cell["cell_type"] == "code":
            assert cell["outputs"] == []
            exec(compile("".join(cell["source"]), str(NOTEBOOK), "exec"), names)
            ran += 1
    assert ran >= 5
    distortion = names["distortion"]
    assert isinstance(distortion, pl.DataFrame)
    assert distortion.height > 3
    assert names["chart"].to_dict()["$schema"]  # type: ignore[attr-defined]
