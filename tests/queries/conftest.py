"""The catalogue maker of the comparison tests, for the saved queries too."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import Any

import pytest

SOURCE = Path(__file__).parents[1] / "comparison" / "conftest.py"


@pytest.fixture
def given(tmp_path: Path) -> Any:
    spec = importlib.util.spec_from_file_location("catalogue_maker", SOURCE)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.CatalogueMaker(tmp_path)
