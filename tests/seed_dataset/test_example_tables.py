"""The example of tables: as its maker writes it, and every one of them measured whole."""

from __future__ import annotations

from pathlib import Path

import pytest

import golden_readings
from backbench.catalogue import Catalogue
from backbench.seed_dataset.scenario import settings_text
from backbench.seed_dataset.table_examples import FOLDER, write_tables


def test_the_folder_is_what_its_maker_writes(tmp_path: Path) -> None:
    write_tables(tmp_path)
    written = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    held = {path.name: path.read_bytes() for path in FOLDER.iterdir()}
    assert held.keys() - written.keys() == {"review.toml"}
    assert {name: held[name] for name in written} == written
    assert sum(map(len, written.values())) < 200_000


def test_every_shape_gives_its_figures(tmp_path: Path) -> None:
    catalogue = Catalogue.create(tmp_path / "catalogue", settings_text())
    catalogue.ingest([FOLDER], history=False, processes=1)
    ended = catalogue.frame("SELECT file, outcome, reason FROM capture_outcome ORDER BY position")
    assert set(ended["outcome"]) == {"whole"}, ended.rows()
    rows = catalogue.frame(
        "SELECT value FROM reading WHERE metric = 'source_impedance' AND frequency_hz = 20000"
    )
    assert rows["value"][0] == pytest.approx(abs(0.4 + 0.4j * 3.14159), rel=0.02)
    golden_readings.agree("example-tables", catalogue.readings())
