from __future__ import annotations

from pathlib import Path

import pytest

from backbench.seed_dataset import settings_text, write_catalogue_inputs


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Every review folder of the scenario, written by two processes."""
    folder = tmp_path_factory.mktemp("scenario")
    (folder / "backbench.toml").write_text(settings_text(), encoding="utf-8")
    return write_catalogue_inputs(folder, workers=2)
