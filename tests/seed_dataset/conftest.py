from __future__ import annotations

from pathlib import Path

import pytest

from backbench.seed_dataset import scenario
from backbench.seed_dataset.maker import REVIEWS
from demonstration import Demo


@pytest.fixture(scope="session")
def written(demo: Demo) -> list[Path]:
    """Every review folder of the scenario, written by the demonstration's processes."""
    return [demo.folder / REVIEWS / review.key for review in scenario().reviews]
