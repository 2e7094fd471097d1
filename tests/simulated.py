"""Catalogues of the simulated circuits, and what it means that two are equal."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from backbench.catalogue import Catalogue
from backbench.storage import database

TESTS = Path(__file__).parent
CIRCUITS = TESTS / "simulated_circuits"
CASES = ("single_ended_stage", "push_pull_taps", "class_b_power_steps", "coupled_stage_sweep")


def contents_of(folder: Path) -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table of a catalogue's database, sorted: what "equal" means here."""
    with database.reading(folder) as opened:
        return {name: sorted(opened.rows(f"FROM {name}"), key=repr) for name in opened.tables()}


def simulated_catalogue(folder: Path) -> Catalogue:
    """An empty catalogue with the bench of the simulated circuits."""
    return Catalogue.create(folder, (CIRCUITS / "backbench.toml").read_text())
